"""Random mixtures against the same equations solved independently with mpmath to 50 digits and more."""

import mpmath
import numpy as np
import pytest

import eqlib as eq

SYSTEMS, BATCHES, DIGITS = 200, 8, 50


class Exact:
    """The equations written from the formulas: atoms (and H^+, by charge) are the components."""

    def __init__(self, totals, reactions):
        names = list(dict.fromkeys([*totals, *(n for r in reactions for n in r.coefficients)]))
        self.names = [n for n in names if n != "H2O(l)"]
        parts = {n: self._parts(n) for n in self.names}
        self.components = sorted({k for p in parts.values() for k in p})
        put_in = {k: self._sum(totals, parts, k) for k in self.components}
        gone = {k for k, v in put_in.items() if v == 0 and k != "H^+"}
        self.components = [k for k in self.components if k not in gone]
        self.absent = [n for n in self.names if gone & set(parts[n])]
        self.names = [n for n in self.names if n not in self.absent]
        self.parts = parts
        self.T = [put_in[k] for k in self.components]
        self.ln_beta = self._formation(reactions)

    @staticmethod
    def _parts(name):
        one = eq.species(name)
        parts = {k: int(v) for k, v in one.elements.items() if k not in "HO"}
        return parts | ({"H^+": one.charge} if one.charge else {})

    @staticmethod
    def _sum(totals, parts, k):
        return mpmath.fsum(mpmath.mpf(v) * parts[n].get(k, 0) for n, v in totals.items())

    def _formation(self, reactions):
        """ln beta of every species from its components, from the constants as given."""
        everything = [*self.names, *self.absent]
        single = [n for n in everything if sum(map(abs, self.parts[n].values())) == 1 and n != "OH^-"]
        others = [n for n in everything if n not in single]
        matrix = mpmath.zeros(len(reactions), len(others))
        for q, r in enumerate(reactions):
            for n, v in r.coefficients.items():
                if n in others:
                    matrix[q, others.index(n)] = int(v)
        right = mpmath.matrix([mpmath.log(mpmath.mpf(r.K)) for r in reactions])
        solved = mpmath.lu_solve(matrix, right) if others else []
        return dict.fromkeys(single, mpmath.mpf(0)) | {n: solved[i] for i, n in enumerate(others)}

    def log_activity(self, name, y):
        terms = [v * y[self.components.index(k)] for k, v in self.parts[name].items()]
        return self.ln_beta[name] + mpmath.fsum(terms)

    def solve(self, start, present):
        """Newton on balances and saturation together, until a step is below 10**-(DIGITS + 10)."""
        solutes = [n for n in self.names if not n.endswith("(s)")]
        size, count = len(self.components), len(present)
        y, amounts = list(start), [mpmath.mpf(0)] * count
        for _ in range(60):
            J, F = mpmath.zeros(size + count), mpmath.zeros(size + count, 1)
            c = {n: mpmath.exp(self.log_activity(n, y)) for n in solutes}
            for i, k in enumerate(self.components):
                F[i] = mpmath.fsum(c[n] * self.parts[n].get(k, 0) for n in solutes) - self.T[i]
                F[i] += mpmath.fsum(
                    a * self.parts[s].get(k, 0) for s, a in zip(present, amounts, strict=True)
                )
                for j, other in enumerate(self.components):
                    J[i, j] = mpmath.fsum(
                        c[n] * self.parts[n].get(k, 0) * self.parts[n].get(other, 0) for n in solutes
                    )
                for j, s in enumerate(present):
                    J[i, size + j] = J[size + j, i] = self.parts[s].get(k, 0)
            for j, s in enumerate(present):
                F[size + j] = self.log_activity(s, y)
            step = mpmath.lu_solve(J, -F)
            y = [v + step[i] for i, v in enumerate(y)]
            amounts = [a + step[size + j] for j, a in enumerate(amounts)]
            done = max(abs(step[i]) for i in range(size))
            if done < mpmath.mpf(10) ** -(DIGITS + 10):
                return y, c, dict(zip(present, amounts, strict=True))
        raise AssertionError("the independent solution did not converge")


def _worst(totals, reactions):
    """Largest relative error of any species, after checking that the independent answer is an answer."""
    state = eq.Mixture(totals, reactions).equilibrate()
    exact = Exact(totals, reactions)
    logs = dict(zip(state.solution.network.names, state.solution.ln_a, strict=True))
    start = [mpmath.mpf(float(logs.get(k, mpmath.log(totals.get(k, 1.0))))) for k in exact.components]
    present = [n for n, v in state.solids.items() if v > 0.0]
    y, c, amounts = exact.solve(start, present)
    for name in exact.names:
        if name.endswith("(s)") and name not in present:
            assert exact.log_activity(name, y) <= 1e-9, f"{name} should have formed"
    assert all(v > 0 for v in amounts.values()), amounts
    assert all(state[n] == 0.0 for n in exact.absent)
    expected = {n: v for n, v in c.items() if v > 1e-290} | amounts
    return max(float(abs(mpmath.mpf(state[n]) / v - 1)) for n, v in expected.items())


@pytest.mark.parametrize("batch", range(BATCHES))
def test_free_concentrations_against_50_digits(batch, random_mixtures):
    rng = np.random.default_rng(20_000 + batch)
    with mpmath.workdps(400):  # scarce species are as rare as 1e-300, and still wanted to 50 digits
        for _ in range(SYSTEMS // BATCHES):
            totals, reactions = random_mixtures.draw(rng, water=1.0)
            assert _worst(totals, reactions) < 1e-9, (totals, [(str(r), r.K) for r in reactions])
