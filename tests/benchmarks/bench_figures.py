"""How long a figure takes, against the same figure by pyplot, in one run.

python tests/benchmarks/bench_figures.py [rounds]

Every round has its own numbers, as a slider gives them, and ends in PNG bytes. The alternative is the usual
way: axes with matplotlib's own ticks and texts by ``pyplot.subplots``, the same curves, bars, labels and
size, and ``savefig`` to PNG at the same resolution. The limit is 40 ms, by processor time, which other work
on the machine does not lengthen.
"""

import io
import statistics
import sys
import time

import matplotlib as mpl
import numpy as np

import eqlib as eq
from eqlib.notebook import figures

mpl.use("agg")
LIMIT_MS = 40.0
TIMES = np.linspace(0.0, 10.0, 120)


def change(i):
    """A disturbance whose numbers move with ``i``."""
    reaction = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140)
    mixture = eq.Mixture({"Fe^3+": 1e-3 + 2e-5 * i, "SCN^-": 1e-3}, [reaction], volume=0.010)
    return eq.disturb(mixture, eq.Stress.add_solution({"Fe^3+": 0.1}, volume=0.0002 + 1e-5 * i))


def _series(d):
    names = ("Fe^3+", "SCN^-", "FeSCN^2+")
    return {n: 1000 * (d.after[n] + (d.at_once[n] - d.after[n]) * np.exp(-TIMES)) for n in names}


OURS = {
    "wells": lambda d: figures.wells(d),
    "bars": lambda d: figures.concentration_bars(d),
    "time course": lambda d: figures.time_course(TIMES, _series(d)),
    "Q and K": lambda d: figures.q_and_k({"at once": d.Q, "after": d.K}, d.K),
    "spectrum": lambda d: figures.spectrum(d, nm=447),
    "sweep": lambda d: figures.sweep(TIMES + 1, _series(d), "volume / mL", log_x=True),
}


def _saved(figure):
    from matplotlib import pyplot as plt

    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=100)
    plt.close(figure)
    return stream.getvalue()


def _pyplot_curves(x, series, log_x=False):
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=(8, 4.5))
    for name, values in series.items():
        axes.plot(x, values, label=name, linewidth=2.6, marker="o", markevery=15)
    axes.set_xscale("log" if log_x else "linear")
    axes.set(xlabel="time / s", ylabel="concentration / mmol L⁻¹", title="Time course")
    axes.legend()
    return _saved(figure)


def _pyplot_bars(d):
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=(8, 4.5))
    names = ("Fe^3+", "SCN^-", "FeSCN^2+")
    for j, state in enumerate((d.before, d.at_once, d.after)):
        values = [1000 * state[n] for n in names]
        axes.bar_label(
            axes.bar(np.arange(3) + 0.28 * j, values, 0.28, hatch="//x"[j], label=str(j)), fmt="%.3g"
        )
    axes.set_xticks(range(3), names)
    axes.set(ylabel="concentration / mmol L⁻¹", title="Concentrations")
    axes.legend()
    return _saved(figure)


def _pyplot_wells(d):
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(1, 3, figsize=(8, 3.6))
    for one, state, label in zip(
        axes, (d.before, d.at_once, d.after), ("before", "at once", "after"), strict=True
    ):
        colour = eq.colour_of(state)
        one.add_patch(plt.Rectangle((0.2, 0.1), 0.6, 0.8, facecolor=colour.hex, edgecolor="black"))
        one.set(xticks=[], yticks=[], title=label, xlabel=f"A {colour.absorbance:.2f}\n{colour.words}")
    return _saved(figure)


def _pyplot_line(d):
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=(8, 3.2))
    axes.semilogx([d.Q, d.K], [0.7, 0.35], "o")
    axes.axvline(d.K)
    for label, value, height in (("at once", d.Q, 0.7), ("after", d.K, 0.35)):
        axes.annotate(f"Q {label} = {value:.3g}", (value, height))
    axes.set(title="Q and K", yticks=[])
    return _saved(figure)


def _pyplot_spectrum(d):
    nm = np.arange(380.0, 781.0, 5.0)
    return _pyplot_curves(nm, {k: eq.absorbance(getattr(d, k), nm) for k in ("before", "at_once", "after")})


THEIRS = {
    "wells": _pyplot_wells,
    "bars": _pyplot_bars,
    "time course": lambda d: _pyplot_curves(TIMES, _series(d)),
    "Q and K": _pyplot_line,
    "spectrum": _pyplot_spectrum,
    "sweep": lambda d: _pyplot_curves(TIMES + 1, _series(d), True),
}


def timed(draw, changes):
    """Median processor time in ms of one draw, after one that does not count."""
    draw(changes[0])
    spent = []
    for d in changes[1:]:
        start = time.process_time()
        draw(d)
        spent.append(1000 * (time.process_time() - start))
    return statistics.median(spent)


def main(rounds=30):
    """Print one line for each figure; exit status 1 when one is over the limit."""
    changes = [change(i) for i in range(rounds + 1)]
    slow = 0
    print(f"{'figure':12s} {'ours':>8s} {'pyplot':>8s}  ratio   (ms of processor time, median of {rounds})")
    for name, make in OURS.items():
        ours = timed(lambda d, make=make: make(d).png, changes)
        theirs = timed(THEIRS[name], changes)
        slow += ours > LIMIT_MS
        verdict = "   over 40 ms" if ours > LIMIT_MS else ""
        print(f"{name:12s} {ours:8.1f} {theirs:8.1f}  {theirs / ours:5.1f}{verdict}")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 30))
