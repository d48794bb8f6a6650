"""Random mixtures for tests and long runs, and a check of an equilibrium state that uses nothing of the
solver.

Atoms stand for the components ("Fe", "Cl", ...; H^+ may be one of them) and clusters of atoms for complexes
and solids, so every reaction is balanced whatever the draw. The chemistry is invented; the equations are not.
"""

import math

import numpy as np

import eqlib as eq

ATOMS = ("Na", "Ag", "Ca", "Fe", "Cl", "Br", "Zn", "Hg")


def _cluster(parts, protons, phase):
    text = "".join(a + (str(n) if n > 1 else "") for a, n in parts)
    if protons > 0:
        text = f"H{protons if protons > 1 else ''}" + text
    elif protons < 0:
        text += f"(OH){-protons if protons < -1 else ''}"
    charge = "" if not protons else "^" + (str(abs(protons)) if abs(protons) > 1 else "") + "+-"[protons < 0]
    return text + charge + phase


def _reaction(parts, protons, name, log_K):
    left = [f"{n} {a}" for a, n in parts]
    right = [f"1 {name}"]
    if protons > 0:
        left.append(f"{protons} H^+")
    elif protons < 0:
        left.append(f"{-protons} H2O(l)")
        right.append(f"{-protons} H^+")
    return eq.Reaction(" + ".join(left) + " <=> " + " + ".join(right), K=10.0**log_K)


def draw(rng, components=8, species=25, solids=4, log_K=40.0, totals=(-12.0, 1.0), water=0.8):
    """(totals, reactions) of one random mixture, up to the sizes given.

    ``water``: how often its own is included.
    """
    count = int(rng.integers(2, components + 1))
    with_protons = bool(rng.random() < 0.4)
    atoms = [str(a) for a in rng.choice(ATOMS, count - with_protons, replace=False)]
    found, made = {}, int(rng.integers(1, max(species - solids - count, 1) + 1))
    dry = int(rng.integers(0, solids + 1))
    if with_protons and rng.random() < water:
        found["OH^-"] = eq.water()
    for number in range(made + dry):
        size = int(rng.integers(2, 6))
        picked = rng.choice(atoms, min(size, 3))
        parts = [(a, int((picked == a).sum() + (rng.random() < 0.2))) for a in sorted(set(picked))]
        protons = int(rng.integers(-3, 4)) if with_protons and number < made and rng.random() < 0.4 else 0
        if sum(n for _, n in parts) + abs(protons) < 2:
            parts = [(parts[0][0], 2)]
        name = _cluster(parts, protons, "(s)" if number >= made else "")
        if name not in found:
            found[name] = _reaction(parts, protons, name, rng.uniform(-log_K, log_K))
    reactions = _mixed(rng, list(found.values()), log_K)
    return _totals(rng, atoms, with_protons, found, totals), reactions


def _mixed(rng, reactions, log_K):
    """Some of them written as differences (stepwise constants), as tables do."""
    out = []
    for number, r in enumerate(reactions):
        if number and rng.random() < 0.3:
            other = reactions[int(rng.integers(number))]
            if abs(math.log10(r.K) - math.log10(other.K)) <= log_K:
                r = r - other
        out.append(r)
    return [out[i] for i in rng.permutation(len(out))]


def _totals(rng, atoms, with_protons, found, span):
    names = [*atoms, *(["H^+"] if with_protons else [])]
    names += [n for n in found if rng.random() < 0.15]
    totals = {n: float(10 ** rng.uniform(*span)) for n in names if rng.random() < 0.93}
    if not totals:
        totals = {names[0]: 1e-3}
    keys = list(totals)
    if len(keys) > 1 and rng.random() < 0.4:  # exactly or nearly stoichiometric
        first, second = (keys[i] for i in rng.choice(len(keys), 2, replace=False))
        totals[second] = totals[first] * float(rng.choice([1.0, 2.0, 0.5, 1 + 1e-9, 1 - 1e-6]))
    return totals


def other_amounts(rng, totals):
    """The same species in other amounts: scattered widely, some left out, some made equal."""
    scattered = {n: float(np.clip(v * 10 ** rng.uniform(-4, 4), 1e-12, 10.0)) for n, v in totals.items()}
    left = {n: v for n, v in scattered.items() if rng.random() < 0.95} or scattered
    if len(left) > 1 and rng.random() < 0.3:
        first, second = (list(left)[i] for i in rng.choice(len(left), 2, replace=False))
        left[second] = left[first]
    return left


def faults(mixture, state, balance=1e-10, constant=1e-8):
    """What is wrong with an equilibrium state, in sentences; empty when it holds."""
    bad = [
        f"{what}: off by {gap:.3g} of what is there"
        for what, gap in balance_gaps(mixture, state)
        if gap > balance
    ]
    bad += [
        f"{what}: ln(Q/K) is off by {gap:.3g}"
        for what, gap in constant_gaps(mixture, state)
        if gap > constant
    ]
    if any(v < 0 or not math.isfinite(v) for v in state.amounts.values()):
        bad.append("an amount is negative or not a number")
    return bad


def balance_gaps(mixture, state):
    """(element or charge, relative gap between what was put in and what is there)."""
    before, after = mixture.amounts(), dict(state.amounts)
    names = set(before) | set(after)
    made_of = {n: dict(eq.species(n).elements) | {"charge": eq.species(n).charge} for n in names}
    keys = {k for parts in made_of.values() for k in parts} - {"H", "O"}
    for key in sorted(keys):
        put_in = math.fsum(v * made_of[n].get(key, 0) for n, v in before.items())
        there = math.fsum(v * made_of[n].get(key, 0) for n, v in after.items())
        size = math.fsum(v * abs(made_of[n].get(key, 0)) for n, v in [*before.items(), *after.items()])
        yield key, abs(put_in - there) / size if size else abs(put_in - there)


def constant_gaps(mixture, state):
    """(reaction, how far ln(Q/K) is from where it may be): from 0, or from one side of 0 when its solid is
    absent.
    """
    c = state.concentrations
    for r in mixture.reactions:
        terms = [(n, float(v)) for n, v in r.coefficients.items() if eq.species(n).phase == "aq"]
        pure = [(n, float(v)) for n, v in r.coefficients.items() if n.endswith("(s)")]
        if any(c[n] < 1e-290 for n, _ in terms):
            continue
        gap = math.fsum(v * math.log(c[n]) for n, v in terms) - math.log(r.K)
        missing = [v for n, v in pure if state.amounts[n] == 0.0]
        if not missing:
            yield str(r), abs(gap)
        elif len(missing) == 1:  # ln(Q/K) = -(its coefficient) * ln(saturation), which must not be above 0
            yield f"{r}, whose solid is absent", max(-gap * missing[0], 0.0)


def solve_at_random(seed, count, **sizes):
    """Solve ``count`` mixtures; returns (solved, list of faults)."""
    rng = np.random.default_rng(seed)
    solved, wrong = 0, []
    for number in range(count):
        totals, reactions = draw(rng, **sizes)
        mixture = eq.Mixture(totals, reactions)
        try:
            state = mixture.equilibrate()
        except eq.EqlibError as error:
            wrong.append((number, str(error)))
            continue
        solved += 1
        wrong.extend((number, text) for text in faults(mixture, state))
    return solved, wrong
