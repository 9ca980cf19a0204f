"""Time of starting up: python tests/benchmarks/bench_start.py

Prints seconds, and ratios to an empty Python and to importing numpy on the same machine, which tell
more than seconds from one machine to the next.
"""

import statistics
import subprocess
import sys
import time

REPEATS = 9
EMPTY, NUMPY = ("-c", "pass"), ("-c", "import numpy")
STARTS = {
    "python -c pass": EMPTY,
    "import numpy": NUMPY,
    "import cropload": ("-c", "import cropload"),
    "cropload --help": ("-m", "cropload", "--help"),
    "cropload compare --help": ("-m", "cropload", "compare", "--help"),
    "cropload source interval.level": ("-m", "cropload", "source", "interval.level"),
}


def seconds(arguments):
    """Return the median time of a fresh Python [s]."""
    taken = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def main():
    """Print the table."""
    times = {name: seconds(arguments) for name, arguments in STARTS.items()}
    empty, numpy = times["python -c pass"], times["import numpy"]
    print(f"{'start':<32}{'s':>8}{'/ empty':>10}{'/ numpy':>10}")
    for name, taken in times.items():
        print(f"{name:<32}{taken:>8.3f}{taken / empty:>10.2f}{taken / numpy:>10.2f}")


if __name__ == "__main__":
    main()
