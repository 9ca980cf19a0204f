"""A what-if night on the frost page: a spring, a date, a low, and what each plan would keep."""

from dataclasses import replace

import ipywidgets as widgets
import numpy as np
import pandas as pd

from cropload.errors import CroploadError
from cropload.frost import frost_map
from cropload.frost.panels import frost_results
from cropload.frost.survival import frost_survival, survival_map
from cropload.frost.words import CASE_WORDS
from cropload.show.desk import Part
from cropload.show.panels import parts
from cropload.show.panels.fields import choice, day_field
from cropload.show.panels.later import REST_S, Later
from cropload.units import METRIC
from cropload.vine.weather.heat import season_days
from cropload.vine.weather.nights import last_night
from cropload.vine.weather.settings import CASES

#: Nights and lows of the map: days after budburst [d], and the lowest temperature [C].
MAP_DAYS = tuple(range(-10, 41, 5))
MAP_COLD_C = tuple(-0.5 * step for step in range(1, 13))
_MAP_DRAWS, _NIGHT_DRAWS = 60, 600
#: Mean of the steady weather under the map [C].
_MAP_MEAN_C = 12.0
#: No other night of the spring freezes, whatever the record holds [C].
_MILD_C = 10.0


class DegreeField(widgets.HBox):
    """A labelled box of degrees, a tenth at a time, with a slider beside it."""

    def __init__(self, label, value, low, high):
        self.box = parts.number_box(label, value, 0.1)
        self.slider = widgets.FloatSlider(
            value, min=low, max=high, step=0.1, readout=False, layout=widgets.Layout(width="190px")
        )
        self._follow = True
        self.box.observe(self._box_changed, "value")
        self.slider.observe(self._slider_changed, "value")
        super().__init__([self.box, self.slider])

    def _box_changed(self, change):
        new = change["new"]
        if np.isfinite(new):
            self._follow = False
            self.slider.value = min(max(new, self.slider.min), self.slider.max)
            self._follow = True

    def _slider_changed(self, change):
        if self._follow:
            self.box.value = round(change["new"], 1)

    def span(self, low, high):
        """Give the slider other ends."""
        self._follow = False
        if low > self.slider.max:
            self.slider.max = high
        self.slider.min, self.slider.max = low, high
        self._follow = True


class NightPart(Part):
    """One night that has not been: choose a spring, a date and a low.

    Parameters
    ----------
    page : FrostCover
        The page it stands on.
    """

    needs = ("units", "comparison")

    def __init__(self, page):
        self.page, self._quiet, self._maps, self._years = page, False, {}, None
        self._later = Later(REST_S)
        self.found = None
        # The low a box opens with is in degrees Celsius.
        self.units = METRIC
        super().__init__(page.desk)

    def build(self):
        """Make the boxes."""
        self.season = choice("Spring of season", [], width="14em")
        self.case = choice("Wood", [(CASE_WORDS[case], case) for case in CASES], width="24em")
        self.date = day_field("Night (date of the morning after)")
        self.date.layout.width = "30em"
        self.days = parts.NumberField("Days after budburst", 20, -21, 75)
        self.low = DegreeField("Low in the block [°C]", -2.0, -8.0, 1.0)
        self.beside = choice("Map: level 1 beside", [])
        self.answer, self.map = parts.html(), parts.html()
        self.season.observe(self._other_season, "value")
        self.date.observe(self._other_date, "value")
        self.days.box.observe(self._other_days, "value")
        self.low.box.observe(self._move_soon, "value")
        for each in (self.beside, self.case):
            each.observe(self._draw_map, "value")
        self.case.observe(self._move_soon, "value")
        self.body.children = (
            parts.html(
                parts.note(
                    "What would one cold night leave? The stage of the buds is that of the "
                    "spring chosen; only this night freezes, and the low is that in the block."
                )
            ),
            parts.row(self.season, self.date, self.case),
            parts.row(self.days, self.low),
            self.answer,
            parts.row(self.beside),
            self.map,
        )

    def clear(self):
        """Take an answer away that no longer belongs."""
        if self.built:
            self.answer.value = ""

    def show(self):
        """Show the plans of the page on the springs of the block."""
        if self.page.comparison is None:
            self.clear()
            return
        self._open_years()
        self._show_units()
        names = self._names()
        self._quiet = True
        last = min(self.beside.index if self.beside.index is not None else 1, len(names) - 2)
        self.beside.options = [(name, at) for at, name in enumerate(names)][1:]
        self.beside.index = max(last, 0) if len(names) > 1 else None
        self.beside.layout.display = None if len(names) > 1 else "none"
        self._set_date()
        self._quiet = False
        self._move()
        self._draw_map()

    def _names(self):
        return [f"{at}: {plan}" for at, plan in enumerate(self.page.plans, start=1)]

    def _open_years(self):
        """Take the springs of the page."""
        years = self.page.years()
        if self._years is years:
            return
        self._years, self._maps = years, {}
        self._bursts = {nodes.season: nodes.burst for nodes in years.seasons}
        self._quiet = True
        kept = self.season.value
        self.season.options = list(reversed(self._bursts))
        self.season.value = kept if kept in self._bursts else years.seasons[-1].season
        self._quiet = False

    def _show_units(self):
        """Turn the low into the units now chosen."""
        units = self.desk.units
        if units is self.units:
            return
        low = units.convert(
            "temperature_c", self.units.to_metric("temperature_c", self.low.box.value)
        )
        self.units, self._quiet = units, True
        self.low.span(*(units.convert("temperature_c", end) for end in (-8.0, 1.0)))
        self.low.box.description = f"Low in the block [{units.label('temperature_c')}]"
        self.low.box.value = round(float(low), 1)
        self._quiet = False

    @property
    def burst(self):
        """Budburst of the spring chosen."""
        return self._bursts[self.season.value]

    def _set_date(self):
        days = self.days.box.value
        if np.isfinite(days) and abs(days) < 1000:
            self.date.value = (self.burst + pd.Timedelta(days=int(days))).date()

    def _other_season(self, _):
        if not self._quiet and self._years is not None:
            self._other_days(None)

    def _other_days(self, _):
        if self._quiet or self._years is None:
            return
        self._quiet = True
        self._set_date()
        self._quiet = False
        self._move_soon()

    def _other_date(self, _):
        if self._quiet or self._years is None or self.date.value is None:
            return
        self._quiet = True
        self.days.box.value = (pd.Timestamp(self.date.value) - self.burst).days
        self._quiet = False
        self._move()

    def _move_soon(self, _=None):
        """Work out the night once its sliders rest."""
        if not self._quiet:
            self._later.call("move", self._move)

    @parts.guarded
    def _move(self, _=None):
        """Work out the night as it stands."""
        if self._quiet or self._years is None:
            return
        settings, days = self._years.settings, self.days.number
        low = self.units.to_metric("temperature_c", self.low.box.value)
        if not isinstance(days, int):
            raise CroploadError(f"Days after budburst must be a whole number, not {days:g}.")
        if not -settings.days_before <= days <= settings.days_after:
            raise CroploadError(
                f"{days} days after budburst is no spring night: nights from "
                f"{settings.days_before} days before to {settings.days_after} days after are "
                "looked at. Earlier cold is winter damage, which is counted on cut buds."
            )
        date = pd.Timestamp(self.burst) + pd.Timedelta(days=days)
        if date > last_night(self.burst, settings):
            raise CroploadError(
                f"{date:%d %B} is no spring night: spring frosts are looked for until "
                f"{last_night(self.burst, settings):%d %B}."
            )
        if not -30 <= low <= 30:
            raise CroploadError(
                f"A low of {self.low.box.value:g} {self.units.label('temperature_c')} is no "
                "spring night: check the number and the units."
            )
        held = self.page.weather()
        spring = season_days(held.frame, self.season.value, held.hemisphere)
        spring = replace(spring, night_c=np.full(spring.dates.size, _MILD_C))
        # Above 0 nothing is worked out, and nothing dies.
        night = spring.with_night(self.burst + pd.Timedelta(days=days), low)
        found = frost_survival(
            self.page.plans,
            night,
            self.burst,
            cases=self.case.value,
            settings=settings,
            profile=self.page.profile(),
            draws=_NIGHT_DRAWS,
            seed=self.desk.seed,
            block=held.block,
        )
        self.found = found
        self.message.value = ""
        self.answer.value = frost_results.night_html(found, self._names())

    @parts.guarded
    def _draw_map(self, _=None):
        """Draw the maps of two plans side by side; a plan seen before costs nothing."""
        if self._quiet or self._years is None:
            return
        plans = [self.page.plans[0]]
        if self.beside.value is not None and self.beside.value < len(self.page.plans):
            plans.append(self.page.plans[self.beside.value])
        case = self.case.value
        new = [plan for plan in dict.fromkeys(plans) if (plan, case) not in self._maps]
        if new:
            drawn = survival_map(
                new,
                MAP_DAYS,
                MAP_COLD_C,
                cases=case,
                mean_c=_MAP_MEAN_C,
                settings=self._years.settings,
                profile=self.page.profile(),
                draws=_MAP_DRAWS,
                seed=self.desk.seed,
            )
            self._maps |= {(plan, case): held for plan, held in zip(new, drawn, strict=True)}
        left = np.stack([self._maps[plan, case] for plan in plans])
        names = [str(plan) for plan in plans]
        shown = (left, names, MAP_DAYS, MAP_COLD_C, case, self.desk.units)
        words, units = frost_map.map_text(*shown), self.desk.units
        self.map.value = (
            parts.head("Any night, one plan beside another")
            + parts.picture(frost_map.map_figure(*shown), words)
            + parts.note(words.split(". ")[-1])
            + parts.note(
                "Lines: where 90, 75 and 50 parts of 100 are left. Steady weather of "
                f"{units.convert('temperature_c', _MAP_MEAN_C):.0f} "
                f"{units.label('temperature_c')}; a picture of the model, not a forecast."
            )
        )
