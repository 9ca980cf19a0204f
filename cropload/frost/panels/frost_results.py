"""What the frost panel shows, as HTML: evidence, cautions, tables and sentences."""

from html import escape

from cropload import handbook
from cropload.beliefs import ranges
from cropload.frost import charts as frost_figures
from cropload.frost import words as frost_wording
from cropload.frost.frost_cover import one_case
from cropload.frost.words import CASE_WORDS, percent
from cropload.show import wording
from cropload.show.panels import parts

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


def words_html(replay, units):
    """Return what the replayed springs say of each plan as HTML, in sentences."""
    text = parts.head("In plain words")
    sentences = frost_wording.year_sentences(replay, units)
    text += "".join(f'<div class="cl-level"><p>{escape(line)}</p></div>' for line in sentences)
    further = frost_wording.shelter_sentences(replay)
    further += frost_wording.break_even_sentences(replay)
    if further:
        text += parts.head("What is longer wood or a late cut worth here?") + parts.points(further)
    return text


def springs_html(replay, units):
    """Return the replayed springs as figures and tables, each case under a heading of its own."""
    text = ""
    for case in dict.fromkeys(replay.cases):
        one = one_case(replay, case)
        drawn = frost_figures.years_figure(one, units)
        text += parts.head(f"Spring by spring, wood {CASE_WORDS[case]}")
        text += parts.picture(drawn, frost_figures.years_text(one, units))
        text += nights_html(one, units)
    text += parts.head("Notes") + parts.points([*replay.notes, f"Ranges are the {ranges.label()}."])
    return text


def nights_html(replay, units):
    """Return the springs that lost something as an HTML table: nights, cold, stage, crop left."""
    unit = units.label("temperature_c")
    heads = ["year", "budburst", "nights", "worst night", f"low in block [{unit}]", "stage then"]
    heads += [f"{plan} left [%]" for plan in replay.plans]
    lines = []
    for season, years in frost_wording.springs_that_hurt(replay):
        hit = years.loc[years["nights"].idxmax()]
        low = units.convert("temperature_c", hit["block_c"])
        # Spaces that do not break keep a date or a range on one line.
        lines.append(
            [
                f"{season}",
                _day(hit["budburst"]),
                f"{hit['nights']}",
                _day(hit["worst_night"]),
                f"{low:.1f}",
                _whole(frost_wording.night_words(hit["stage_first"], hit["stage_last"])),
                *(_in_hundred(row) for row in years.to_dict("records")),
            ]
        )
    if not lines:
        return parts.note("No spring of this record would have cost these plans any crop.")
    caption = (
        "Springs that cost some crop, with their worst night; stage is modified E-L; left: share "
        f"of the crop, middle and {ranges.label()}"
    )
    return parts.table(heads, lines, caption, words={1, 3, 5})


def _in_hundred(row):
    low, middle, high = (f"{100 * row[f'crop_left_{end}']:.0f}" for end in ranges.ENDINGS)
    return _whole(f"{middle} ({low} to {high})")


def _whole(text):
    """Return text that stays on one line."""
    return text.replace(" ", "\u00a0")


def _day(date):
    return _whole(f"{date.day} {date:%b}")


def night_html(found, names, units):
    """Return what one night leaves as an HTML table with a bar for each plan.

    Parameters
    ----------
    found : FrostSurvival
        One night's.
    names : list of str
        Name of each level.
    units : UnitSystem
        Units to show.
    """
    heads = ("level", "crop left", ranges.label(), "primary shoots alive", "modified E-L stage")
    body = ""
    nights = found.nights().set_index("plan") if len(found.plans) else None
    for name, row in zip(names, found.table().to_dict("records"), strict=True):
        left = row["crop_left_p50"]
        span = f"{100 * row['crop_left_p10']:.0f} to {percent(row['crop_left_p90'])}"
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
    label = units.label("tonnes")
    rows = [
        [
            row["part"],
            wording.amount("tonnes", row["tonnes_p50"], units, unit=False),
            wording.span("tonnes", row["tonnes_p10"], row["tonnes_p90"], units),
        ]
        for row in found.table().to_dict("records")
    ]
    estate = [
        wording.amount("tonnes", each.frame_by("estate")["tonnes_p50"].iloc[0], units)
        for each in (found.forecast.before, found.forecast)
    ]
    lines = [
        *frost_wording.after_sentences(found, units),
        f"The estate's crop in the middle goes from {estate[0]} to {estate[1]}.",
    ]
    if found.judge_from is not None:
        lines.append(f"Shoots of this frost can be judged from {found.judge_from:%Y-%m-%d} on.")
    caption = f"Crop of {found.block}, season {found.forecast.season}, {ranges.label()}"
    return (
        "".join(f'<div class="cl-level"><p>{escape(line)}</p></div>' for line in lines)
        + parts.table(["crop", f"middle [{label}]", f"range [{label}]"], rows, caption)
        + parts.head("What to mind")
        + parts.points(found.notes)
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
