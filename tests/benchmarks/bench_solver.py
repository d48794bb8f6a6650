"""How fast the solver is: ``python tests/benchmarks/bench_solver.py [mixtures]``.

Prints the time of one solve of the iron-thiocyanate-silver-oxalate-acid system (two solids may form), and how
many mixtures per second ``equilibrate_many`` does against ``scipy.optimize.root`` on the same equations: the
same mass balances in the logarithms of the free concentrations, with their Jacobian, started (a) from half
the totals and (b) near the answer, each free concentration within a factor of 3. For that comparison the
solids are left out, since a root finder has no way to handle them; the batch with solids is timed as well.
Everything runs in turn in one process, so that the ratios hold whatever else the machine is doing.
"""

import sys
import time

import numpy as np
from scipy.optimize import root

import eqlib as eq

R = eq.Reaction
# The constants are of the size found in tables (from memory); a benchmark needs no more.
SOLUTES = [
    R("Fe^3+ + SCN^- <=> FeSCN^2+", K=140),
    R("FeSCN^2+ + SCN^- <=> Fe(SCN)2^+", K=16),
    R("Fe^3+ + C2O4^2- <=> FeC2O4^+", K=2.5e7),
    R("FeC2O4^+ + C2O4^2- <=> Fe(C2O4)2^-", K=5e6),
    R("Fe(C2O4)2^- + C2O4^2- <=> Fe(C2O4)3^3-", K=2.5e4),
    R("H2C2O4 <=> H^+ + HC2O4^-", K=5.4e-2),
    R("HC2O4^- <=> H^+ + C2O4^2-", K=5.4e-5),
    R("Fe^3+ + H2O(l) <=> FeOH^2+ + H^+", K=6.5e-3),
    R("Ag^+ + 2 SCN^- <=> Ag(SCN)2^-", K=4e8),
    eq.water(),
]
SOLIDS = [R("AgSCN(s) <=> Ag^+ + SCN^-", K=1e-12), R("Ag2C2O4(s) <=> 2 Ag^+ + C2O4^2-", K=5e-12)]
FREE = ("Fe^3+", "SCN^-", "Ag^+", "C2O4^2-", "H^+")


def mixtures(count, seed=1):
    """Totals over the range of a practical, as arrays."""
    rng = np.random.default_rng(seed)
    spans = {"Fe^3+": (-5, -2), "SCN^-": (-5, -2), "Ag^+": (-6, -2), "C2O4^2-": (-5, -2), "H^+": (-2, -0.3)}
    return {name: 10 ** rng.uniform(*span, count) for name, span in spans.items()}


def single(repeats=300):
    """Milliseconds for one solve: (median, best)."""
    totals = {
        "Fe^3+": 1e-3,
        "SCN^-": 1e-3,
        "Ag^+": 2e-4,
        "C2O4^2-": 5e-4,
        "H^+": 0.1,
        "NO3^-": 0.1032,
        "K^+": 2e-3,
    }
    mixture = eq.Mixture(totals, [*SOLUTES, *SOLIDS])
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        mixture.equilibrate()
        times.append(time.perf_counter() - start)
    return 1e3 * float(np.median(times)), 1e3 * min(times)


def equations():
    """Stoichiometry of each species in FREE and ln beta, written out from the reactions above."""
    rows = {name: np.eye(5)[i] for i, name in enumerate(FREE)}
    beta = dict.fromkeys(FREE, 0.0)
    todo = list(SOLUTES)
    while todo:
        r = todo.pop(0)
        terms = {n: float(v) for n, v in r.coefficients.items() if n != "H2O(l)"}
        unknown = [n for n in terms if n not in rows]
        if len(unknown) != 1:
            todo.append(r)
            continue
        (new,) = unknown
        share = terms.pop(new)
        rows[new] = -sum(v * rows[n] for n, v in terms.items()) / share
        beta[new] = (np.log(r.K) - sum(v * beta[n] for n, v in terms.items())) / share
    return list(rows), np.array(list(rows.values())), np.array(list(beta.values()))


def by_root(totals, starts):
    """(mixtures per second, number solved) with scipy.optimize.root, one mixture after the other."""
    _, A, beta = equations()
    T = np.array([totals[n] for n in FREE]).T
    solved = 0
    begin = time.perf_counter()
    for t, x0 in zip(T, starts, strict=True):

        def balance(x, t=t):
            return (A.T @ np.exp(beta + A @ x) - t) / t

        def slope(x, t=t):
            c = np.exp(beta + A @ x)
            return (A.T * c) @ A / t[:, None]

        with np.errstate(all="ignore"):
            found = root(balance, x0, jac=slope, method="hybr", tol=1e-12)
            solved += bool(found.success and np.abs(balance(found.x)).max() < 1e-9)
    return len(T) / (time.perf_counter() - begin), solved


def batch(reactions, totals):
    """(mixtures per second, result)."""
    count = len(totals["H^+"])
    begin = time.perf_counter()
    found = eq.equilibrate_many(reactions, totals)
    return count / (time.perf_counter() - begin), found


def main(count=20_000, sample=1000, rounds=3):
    median, best = single()
    print(f"one solve, iron-thiocyanate-silver-oxalate-acid: median {median:.2f} ms, best {best:.2f} ms")
    totals = mixtures(count)
    few = {n: v[:sample] for n, v in totals.items()}
    batch(SOLUTES, few)
    ratios = []
    for _ in range(rounds):
        rate, found = batch(SOLUTES, totals)
        free = np.log(np.array([found[n][:sample] for n in FREE]).T)
        natural = np.log(0.5 * np.array([few[n] for n in FREE]).T)
        near = free + np.random.default_rng(2).uniform(-np.log(3), np.log(3), free.shape)
        plain, plain_solved = by_root(few, natural)
        kind, kind_solved = by_root(few, near)
        ratios.append((rate / plain, rate / kind))
        print(
            f"batch of {count}: {rate:.0f}/s; "
            f"root from half the totals {plain:.0f}/s ({plain_solved} of {sample} solved), "
            f"ratio {rate / plain:.0f}; "
            f"root from near the answer {kind:.0f}/s ({kind_solved} of {sample} solved), "
            f"ratio {rate / kind:.0f}"
        )
    rate, _ = batch([*SOLUTES, *SOLIDS], totals)
    print(f"batch of {count} with two solids: {rate:.0f}/s")
    print(
        f"median ratios: {np.median([r for r, _ in ratios]):.0f} and {np.median([r for _, r in ratios]):.0f}"
    )
    return ratios


if __name__ == "__main__":
    main(*(int(v) for v in sys.argv[1:2]))
