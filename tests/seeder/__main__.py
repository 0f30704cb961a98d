"""Prints the rates over many seeds: ``python -m tests.seeder [SEEDS] [EACH]``."""

from __future__ import annotations

import sys

from tests.seeder.faults import FAULTS
from tests.seeder.rates import false_alarms, missed


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    each = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    alarms = false_alarms(range(seeds))
    print(f"false alarms: {alarms}", *alarms.wrong, sep="\n  ")
    tried = lost = 0
    for fault in FAULTS:
        tally = missed(fault, each, seeds)
        tried, lost = tried + tally.tried, lost + len(tally.wrong)
        print(f"{fault.name:45} missed {tally}", *tally.wrong[:5], sep="\n  ")
    print(f"{len(FAULTS)} kinds: missed {lost} of {tried}")


if __name__ == "__main__":
    main()
