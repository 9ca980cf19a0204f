"""The truth behind the invented estate, written as TOML that a test can read."""

from __future__ import annotations

import quillfoot_estate as estate
import quillfoot_vines as field
import quillfoot_weather as sky

HEAD = """\
# The truth behind the invented estate Quillfoot.  Every number here is made up.
# Written by make_quillfoot.py; README.md beside it says how the numbers fit together.
# Effects are natural logs; lists of a block run over its seasons in order.
"""


def truth_tables(effects, truth) -> dict:
    """Return the truth as nested tables of numbers and lists."""
    seasons = list(estate.SEASONS)
    blocks = {}
    for block in estate.BLOCKS:
        if not block.plans:
            continue
        own = {
            "variety": block.variety,
            "canopy_length_m": round(block.canopy_length_m, 6),
            "bearing_vines": block.bearing_vines,
            "bud_bias": block.bud_bias,
            "season": seasons,
            "gap_seasons": list(block.gap_seasons),
            "plan": [block.plan(season) for season in seasons],
            "log_centre": {
                name: estate.log_centre(block, name, effects) for name in estate.SD
            },
        }  # fmt: skip
        own["true"] = {
            name: [truth[block.name, season][name] for season in seasons]
            for name in truth[block.name, 2020]
        }
        own["true"]["pruning_weight_kg_per_m_2019"] = truth[block.name, 2019][
            "pruning_weight_kg_per_m"
        ]
        if block.counted:
            for crew in sorted(estate.CREW_LOG_BIAS):
                own["true"]["counting_bias_" + crew.replace(" ", "_")] = [
                    estate.counting_bias(block.name, season)[crew] for season in seasons
                ]
        blocks[block.name] = own
    return {
        "estate": {
            "name": "Quillfoot",
            "invented": True,
            "seed": estate.SEED,
            "noncount_fertility": estate.NONCOUNT_FERTILITY,
            "bud_cv_between_vines": estate.BUD_CV_BETWEEN_VINES,
            "counting_bias": estate.COUNTING_BIAS,
            "counting_bias_sd": estate.COUNTING_BIAS_SD,
            "crew_log_bias": estate.CREW_LOG_BIAS,
            "recovery_cap": estate.RECOVERY_CAP,
            "first_winter_kg_per_m_fox_hollow": estate.YOUNG_WOOD_KG_PER_M,
        },
        "exponent": estate.EXPONENTS,
        "sd": estate.SD,
        "event": list(estate.EVENTS),
        "vines": {
            "place_sd": field.PLACE_SD, "row_trend": field.ROW_TREND, "shoot_sd": field.SHOOT_SD,
            "cluster_sd": field.CLUSTER_SD, "cluster_weight_cv": field.CLUSTER_WEIGHT_CV,
            "lot_sd": field.LOT_SD, "pruning_cv": field.PRUNING_CV,
        },
        "profile": {
            name: {
                wood: {"burst": [node_profile[wood, i][0] for i in nodes],
                       "fertility": [node_profile[wood, i][1] for i in nodes]}
                for wood, nodes in (
                    (wood, sorted(i for w, i in node_profile if w == wood))
                    for wood in ("cane", "spur")
                )
            }
            for name, node_profile in (
                (b.name, field.node_profile(b.plan(2026)))
                for b in estate.BLOCKS
                if b.name in field.FERTILITY_BLOCKS
            )
        },
        "weather": {
            "base_c": sky.BASE_C,
            "budburst_sum_cd": sky.BURST_SUM_CD,
            "days_between_stages": {name: list(days) for name, days in sky.DAYS.items()},
            "frost_night": sky.frost_night(sky.draw_weather()[1]).strftime("%Y-%m-%d"),
            "frost_night_station_c": sky.FROST_NIGHT_C,
            "frost_offset_c": {b.name: b.frost_offset_c for b in estate.BLOCKS},
            "logger_night_sd_c": sky.LOGGER_NIGHT_SD_C,
        },
        "effect": {
            name: {
                "season": parts["season"],
                "variety_season": parts["variety_season"],
                "residual": parts["residual"],
            }
            for name, parts in effects.items()
        },
        "block": blocks,
    }  # fmt: skip


def _toml_value(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml_value(item) for item in value) + "]"
    if isinstance(value, float):
        text = f"{value:.9g}"
        return text if any(sign in text for sign in ".en") else text + ".0"
    return str(value)


def _toml_key(key: str) -> str:
    return key if key.replace("_", "").isalnum() and key.isascii() else f'"{key}"'


def toml_lines(table: dict, path: tuple[str, ...] = ()) -> list[str]:
    """Return a nested table as lines of TOML."""
    plain = {key: value for key, value in table.items() if not _nested(value)}
    lines = [f"{_toml_key(key)} = {_toml_value(value)}" for key, value in plain.items()]
    if path and (lines or not table):
        lines.insert(0, "\n[" + ".".join(map(_toml_key, path)) + "]")
    for key, value in table.items():
        if isinstance(value, dict):
            lines += toml_lines(value, (*path, key))
        elif _nested(value):
            for item in value:
                lines.append("\n[[" + ".".join(map(_toml_key, (*path, key))) + "]]")
                lines += [f"{_toml_key(k)} = {_toml_value(v)}" for k, v in item.items()]
    return lines


def _nested(value) -> bool:
    return isinstance(value, dict) or (
        isinstance(value, list) and bool(value) and isinstance(value[0], dict)
    )


def truth_text(effects, truth) -> str:
    """Return the whole file."""
    return HEAD + "\n".join(toml_lines(truth_tables(effects, truth))) + "\n"
