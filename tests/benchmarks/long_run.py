"""A long seeded run, kept out of continuous integration: ``python tests/benchmarks/long_run.py [mixtures]
[processes]``.

Every chemistry is tried with five sets of amounts. Every mixture must be solved, keep its amounts within
1e-10, meet every constant within 1e-8, and hold no solid that is both undersaturated and present (nor lack
one that is supersaturated). Prints the figures; exit status 1 on any fault.
"""

import sys
import time
from multiprocessing import Pool

import numpy as np
import random_mixtures

import eqlib as eq

_PIECE, _AMOUNTS = 500, 5  # mixtures reported together; sets of amounts for each random chemistry


def piece(seed):
    """Figures of _PIECE mixtures: (solved, faults, worst balance, worst constant, largest system, CPU
    seconds).
    """
    rng = np.random.default_rng([2024, seed])
    solved, wrong, balance, constant, largest, spent = 0, [], 0.0, 0.0, 0, 0.0
    for number in range(_PIECE):
        if number % _AMOUNTS == 0:
            totals, reactions = random_mixtures.draw(rng)
        else:
            totals = random_mixtures.other_amounts(rng, totals)
        mixture = eq.Mixture(totals, reactions)
        begin = time.process_time()
        try:
            state = mixture.equilibrate()
        except eq.EqlibError as error:
            wrong.append(f"piece {seed}, mixture {number}: {error}")
            continue
        spent += time.process_time() - begin
        solved += 1
        largest = max(largest, len(mixture.network.names))
        balance = max([balance, *(gap for _, gap in random_mixtures.balance_gaps(mixture, state))])
        constant = max([constant, *(gap for _, gap in random_mixtures.constant_gaps(mixture, state))])
        wrong += [f"piece {seed}, mixture {number}: {t}" for t in random_mixtures.faults(mixture, state)]
    return solved, wrong, balance, constant, largest, spent


def main(count=100_000, processes=2):
    """Run and report; returns the faults."""
    pieces = -(-count // _PIECE)
    begin, figures = time.time(), []
    with Pool(processes) as pool:
        for done, figure in enumerate(pool.imap_unordered(piece, range(pieces)), start=1):
            figures.append(figure)
            for text in figure[1]:
                print(text, flush=True)
            if done % 20 == 0:
                print(f"{done * _PIECE} of {pieces * _PIECE} after {time.time() - begin:.0f} s", flush=True)
    solved = sum(f[0] for f in figures)
    wrong = [text for f in figures for text in f[1]]
    print(f"{solved} of {pieces * _PIECE} solved; faults: {len(wrong)}")
    balance, constant, largest = (max(f[i] for f in figures) for i in (2, 3, 4))
    print(f"worst mass balance {balance:.1e}, worst |ln(Q/K)| {constant:.1e}")
    spent = 1e3 * sum(f[5] for f in figures) / solved
    print(f"largest system {largest} species; {spent:.2f} ms CPU each")
    return wrong


if __name__ == "__main__":
    sys.exit(bool(main(*(int(v) for v in sys.argv[1:3]))))
