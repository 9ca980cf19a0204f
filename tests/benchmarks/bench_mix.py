"""Time of the mix of plans: python tests/benchmarks/bench_mix.py

Forty blocks of three plans each, five seasons of 400 draws, contracts with caps, and limits that
bind. Prints seconds, the gap that the solver leaves, and the ratio to working out as many margins
of one choice as there are draws, which tells more than seconds from one machine to the next.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from owner_cases import mix_question

from cropload.beliefs.ranges import worst_tenth
from cropload.owner.mix import SAMPLE


def clock(task):
    start = time.perf_counter()
    found = task()
    return time.perf_counter() - start, found


def main():
    print(f"{'mix of 40 blocks x 3 plans':42} {'seconds':>8} {'ratio':>8} {'gap':>8}  binding")
    for seed in range(3):
        question, rules = mix_question(40, 3, SAMPLE, seed, risky=True)
        today = np.zeros(40, int)
        unit, _ = clock(lambda q=question, picks=today: [q.value(picks) for _ in range(5)])
        free = question.best()
        worst = [
            worst_tenth(question.pay.margin(question.settled, picks[None])[0])
            for picks in (free.picks, question.best(rules).picks)
        ]
        for what, asked, least in (
            ("no limit", (), None),
            ("area and hours", rules, None),
            ("and the worst year", rules, max(worst) * 1.01),
        ):
            seconds, mix = clock(lambda q=question, a=asked, w=least: q.best(a, w))
            binding = ", ".join(name for name, _ in mix.costs) or "none"
            binding = binding if mix.held else f"not held: {binding}"
            print(
                f"{f'seed {seed}, {what}':42} {seconds:8.2f} {5 * seconds / unit:8.0f} "
                f"{mix.gap:8.1e}  {binding}"
            )


if __name__ == "__main__":
    main()
