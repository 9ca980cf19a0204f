"""What the frost panel shows, as HTML: evidence, cautions, tables and sentences."""

from html import escape

from cropload import handbook
from cropload.beliefs import ranges
from cropload.frost import charts as frost_figures
from cropload.frost import words as frost_wording
from cropload.frost.cover import one_case
from cropload.frost.tables import springs_table, years_table
from cropload.frost.words import CASE_WORDS
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.wording import percent

#: Style of the bars beside a share; the number stands beside each, so nothing is colour alone.
STYLE = """<style>
.cl-bar { display: inline-block; width: 90px; height: 0.8em; border: 1px solid #444;
  background: #fff; vertical-align: middle; margin-right: 8px; }
.cl-bar span { display: block; height: 100%; background: #0072B2; }
</style>"""


def evidence_html():
    """Return what the literature does and does not support as HTML, each line with its sources."""
    text = ""
    for heading, words, keys in frost_wording.evidence():
        text += f"<p><strong>{escape(heading)}</strong> {escape(words)}</p>"
        text += "".join(parts.source(key, f"Figure and sources: {key}") for key in keys)
    return (
        '<div class="cl-care" role="note"><p><strong>What is known, and what is not</strong></p>'
        f"{text}</div>"
    )


def cautions_html():
    """Return the cautions for frost protection work as HTML."""
    items = "".join(
        f"<p><strong>{escape(word)}.</strong> {escape(text)}</p>"
        for word, text in frost_wording.CAUTIONS
    )
    return (
        '<div class="cl-care" role="note"><p><strong>Take care at frost protection</strong></p>'
        f"{items}<p>{escape(frost_wording.SUPPORT)}</p></div>"
    )


def springs_html(replay, units):
    """Return the replayed springs as figures and tables, each case under a heading of its own."""
    text = ""
    for case in dict.fromkeys(replay.cases):
        one = one_case(replay, case)
        drawn = frost_figures.years_figure(one, units)
        text += parts.head(f"Spring by spring, wood {CASE_WORDS[case]}")
        text += parts.picture(drawn, frost_figures.years_text(one, units))
        for table in (years_table(one), springs_table(one)):
            text += table.html(units) if table else parts.note(frost_wording.NO_SPRING)
    text += parts.head("Notes") + parts.points([*replay.notes, f"Ranges are the {ranges.label()}."])
    return text


def _whole(text):
    """Return text that stays on one line."""
    return text.replace(" ", "\u00a0")


def night_html(found, names):
    """Return what one night leaves as an HTML table with a bar for each plan.

    Parameters
    ----------
    found : FrostSurvival
        One night's.
    names : list of str
        Name of each level.
    """
    heads = ("level", "crop left", ranges.label(), "primary shoots alive", "modified E-L stage")
    body = ""
    nights = found.nights().set_index("plan") if len(found.plans) else None
    for name, row in zip(names, found.table().to_dict("records"), strict=True):
        left = row["crop_left_p50"]
        span = wording.ranged((row["crop_left_p10"], None, row["crop_left_p90"]), percent)
        hit = nights.loc[[row["plan"]]].iloc[0] if row["plan"] in nights.index else None
        stage = "no harm"
        if hit is not None:
            stage = frost_wording.night_words(hit["stage_first"], hit["stage_last"])
        bar = (
            '<span><span class="cl-bar" aria-hidden="true">'
            f'<span style="width: {100 * left:.0f}%"></span></span>{_whole(percent(left))}</span>'
        )
        cells = (bar, _whole(span), _whole(percent(row["primary_p50"])), escape(_whole(stage)))
        body += f'<tr><th scope="row">{escape(name)}</th>' + "".join(
            f'<td data-head="{head}">{cell}</td>'
            for head, cell in zip(heads[1:], cells, strict=True)
        )
        body += "</tr>"
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    caption = "Crop that this one night would leave; secondary shoots count with their smaller crop"
    return (
        f'<div class="cl-wide" tabindex="0" role="region" aria-label="{caption}">'
        f'<table class="cl-table cl-below-600 cl-short"><caption>{caption}</caption>'
        f"<thead><tr>{top}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def after_html(found, units):
    """Return what a count of dead shoots says as HTML: sentences, a table, what to do next."""
    estate = [
        wording.amount("tonnes", each.frame_by("estate")["tonnes_p50"].iloc[0], units)
        for each in (found.earlier, found.forecast)
    ]
    lines = [
        *frost_wording.after_sentences(found, units),
        f"The estate's crop in the middle goes from {estate[0]} to {estate[1]}.",
    ]
    return (
        "".join(f'<div class="cl-level"><p>{escape(line)}</p></div>' for line in lines)
        + found.table(units).html(units)
        + parts.head("What to mind")
        + parts.points(frost_wording.after_notes(found))
        + "".join(
            parts.source(key, f"Figure and sources: {key}")
            for key in (
                "frost.wait_days",
                "frost.leave_until_stage",
                "frost.break_out_gain",
                "frost.second_crop_late_days",
                "frost.shoots_alike",
            )
            if handbook.entry(key)
        )
    )
