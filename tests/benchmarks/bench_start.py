"""Time of starting up: python tests/benchmarks/bench_start.py

Prints seconds, and ratios to an empty Python and to importing numpy on the same machine, which tell
more than seconds from one machine to the next.  Then the processor time of whole commands on the
sample estate, as ratios to importing pandas in the same run, beside what is wanted.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
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


#: Commands on the sample estate, and the most they should take over importing pandas [1].
_ACRE = ("--block", "Long Acre")
COMMANDS = {
    ("compare", *_ACRE, "--plans", "3x6+3x2,3x8+3x2,3x10+3x2"): 2.5,
    ("plan", *_ACRE, "--target-t-ha", "8"): 2.5,
    ("forecast",): 2.5,
    ("check",): 3.0,
    ("review",): 5.0,
    ("learn",): 5.0,
}
#: Reading the sample with all doubts, in a process that has pandas: the ratio wanted.
READING = 0.5
_READ = """
import time
from cropload import read_records
from cropload.records.example import shipped
sample = shipped("sample_data") / "quillfoot"
read_records(sample).warnings
start = time.process_time()
read_records(sample).warnings
print(time.process_time() - start)
"""


def processor(arguments, repeats=3):
    """Return the least processor time of a fresh Python, and what it printed last [s]."""
    taken = []
    for _ in range(repeats):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            [sys.executable, *arguments], check=True, capture_output=True, text=True
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return min(taken), done.stdout


def commands():
    """Print what whole commands take, compiled before as an installed package is."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as place:
        os.environ["PYTHONPYCACHEPREFIX"] = place
        processor(["-m", "cropload", "review", "--example"], repeats=1)
        pandas, _ = processor(["-c", "import pandas"])
        print(f"\n{'processor':<32}{'s':>8}{'/ pandas':>10}{'wanted':>10}")
        print(f"{'import pandas':<32}{pandas:>8.2f}{1:>10.2f}")
        for (name, *words), wanted in COMMANDS.items():
            taken, _ = processor(["-m", "cropload", name, "--example", *words])
            print(f"{name:<32}{taken:>8.2f}{taken / pandas:>10.2f}{wanted:>10.1f}")
        taken = min(float(processor(["-c", _READ], 1)[1]) for _ in range(3))
        print(f"{'reading, all doubts':<32}{taken:>8.2f}{taken / pandas:>10.2f}{READING:>10.1f}")


def main():
    """Print the tables."""
    times = {name: seconds(arguments) for name, arguments in STARTS.items()}
    empty, numpy = times["python -c pass"], times["import numpy"]
    print(f"{'start':<32}{'s':>8}{'/ empty':>10}{'/ numpy':>10}")
    for name, taken in times.items():
        print(f"{name:<32}{taken:>8.3f}{taken / empty:>10.2f}{taken / numpy:>10.2f}")
    commands()


if __name__ == "__main__":
    main()
