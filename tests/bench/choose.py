"""Time of the exact choice among 5,000 larvae: ``python -m tests.bench.choose``."""

import statistics
import time

from guide.field.choosing import Specimen, choose

FAMILIES = ["G", "A", "L", "M", "C", "P", "S", "E", "T", "B", None]
ROUNDS = 5


def specimens(count: int) -> list[Specimen]:
    """Larvae of ten families and some of none, every ninth flagged."""
    return [
        Specimen(f"{i:05}", 13 + i * 7919 % 470 / 10, FAMILIES[i * 31 % 11], flagged=i % 9 == 0) for i in range(count)
    ]


def main() -> None:
    """Prints the median time for several numbers of places."""
    pool = specimens(5000)
    for most in (12, 500, 2500, 4999):
        took = []
        for _ in range(ROUNDS):
            begun = time.perf_counter()
            choose(pool, most, 13, 2)
            took.append(time.perf_counter() - begun)
        print(f"5,000 larvae, {most:5} places: {statistics.median(took) * 1000:6.0f} ms")


if __name__ == "__main__":
    main()
