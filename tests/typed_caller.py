"""A script as a user types it: pyright checks it against the public face; it is never run."""

from pathlib import Path

import cropload


def caller() -> None:
    records = cropload.read_records(Path("my_vineyard"))
    plans = cropload.compare_plans(records, "Long Acre", "3x6+3x2,3x8+3x2", draws=4000)
    crop: float = plans["t_ha_p50"].iloc[0]
    print(crop)
    print(plans.text("us"), len(plans), plans.block, plans.season)

    forecast = cropload.forecast(records, 2027, "2027-07-01")
    print(forecast.frame_by("variety"), forecast.table())
    print(cropload.next_counts(forecast, hours=6).notes)
    print(cropload.intake_schedule(forecast, period="week").frame_by("estate"))

    found = cropload.find_plans(records, "Long Acre", target_t_ha=8, shoots_per_m=(12, 15))
    print(found, cropload.PruningPlan.parse("3x8+3x2").buds)
