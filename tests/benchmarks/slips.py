"""Each calculation slip of the Kc practical, made by many students: how often it is the one that is named.

    python tests/benchmarks/slips.py [HOW_MANY]

Every student has readings of their own; the work is done with numpy alone
(tests/assess/test_practical.py, where forty students a slip are held to 95 of 100 in CI).
"""

import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "assess"))
from test_practical import FILE, SLIPS, work

from eqlib.assess.asks.practical import simulated
from eqlib.assess.load import load_questions
from eqlib.assess.mark import mark


def main(students: int) -> None:
    """Print a line for every slip, and one for those who make none."""
    own, began = load_questions(FILE)["own"], time.perf_counter()
    named = {slip: Counter() for slip in [None, *SLIPS]}
    for number in range(students):
        student = f"p{number:05d}"
        text = simulated(own.case(student))
        for slip, count in named.items():
            count[mark(own, work(text, slip), student).mistake] += 1
    for slip, count in named.items():
        wanted = SLIPS.get(slip)
        others = {name: n for name, n in count.most_common() if name != wanted}
        share = f"{wanted or 'nothing'} named in {count[wanted] / students:.1%}"
        print(f"{slip or 'no slip'}: {share}; else {others}")
    print(f"{students} students, {len(named)} ways of working, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
