"""Every sentence of an explanation, read back and recomputed from what was put in the vessel.

The states on the way are first held against laws of their own: atoms and charge are kept, each reaction that
may have run stands at its K (or its solid is absent and undersaturated), the watched one has not moved. With
that the numbers of every sentence are worked out again here, and a sentence that no reader below knows fails.
"""

import math
import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import eqlib as eq
from eqlib.chem.catalogue import outcome_of

R = 8.314462618e-2  # L bar/(mol K), CODATA 2018 (from memory)
CASES = [(name, key) for name in eq.systems() for key in eq.system(name).steps]
_SUPER = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")
NUMBER = r"−?\d[\d.]*(?: × 10[⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+)?"
AMOUNT = rf"(?:{NUMBER}) (?:mol|mmol|µmol)"
SPECIES = r"[^\s\]]+"
EQUATION = r".+? <=> .+?"
WAY = r"to products \(→\)|to reactants \(←\)"
FAR = r" \(about 10([⁰¹²³⁴⁵⁶⁷⁸⁹]+) times\)"
SIDE = r"equal to|(?:a little |far )?(?:above|below)"


def num(text):
    text = text.replace("−", "-")
    if " × 10" in text:
        mantissa, power = text.split(" × 10")
        return float(mantissa) * 10.0 ** int(power.translate(_SUPER))
    return float(text)


def mol(text):
    value, unit = text.rsplit(" ", 1)
    return num(value) * {"mol": 1.0, "mmol": 1e-3, "µmol": 1e-6}[unit]


def near(text, value, figures=3):
    """``text`` is ``value`` in print: within half a unit of its last figure, of at least ``figures``."""
    assert num(text) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - figures), abs=1e-300)


def told(text, value):
    shown = mol(text)
    assert shown == pytest.approx(value, rel=0.0051, abs=1e-300)


def side_of(ratio):
    if abs(ratio - 1) < 1e-6:
        return "equal to"
    size = max(ratio, 1 / ratio)
    how = "a little " if size < 1.1 else "far " if size > 100 else ""
    return how + ("above" if ratio > 1 else "below")


# -- the states on the way: laws ----


def atoms(amounts):
    total = {"charge": 0.0}
    for name, amount in amounts.items():
        one = eq.species(name)
        total["charge"] += one.charge * amount
        for element, count in one.elements.items():
            if element not in ("H", "O"):  # water of the solvent is not counted
                total[element] = total.get(element, 0.0) + float(count) * amount
    return total


def own_Q(r, state):
    top = bottom = 1.0
    for name, power in r.coefficients.items():
        phase = eq.species(name).phase
        if phase in ("s", "l"):
            continue
        room = state.gas_volume if phase == "g" else state.volume
        value = state.amounts[name] / room
        if phase == "g" and r.basis == "p":
            value *= R * state.T
        if power > 0:
            top *= value ** float(power)
        else:
            bottom *= value ** -float(power)
    return top / bottom if bottom else math.nan if not top else math.inf


def own_K(r, T):
    """Van 't Hoff; a Kc with a change in moles of gas goes through the constant in bar."""
    if r.dH is None or r.T == T:
        return r.K
    K = r.K * math.exp(-r.dH / 8.314462618 * (1 / T - 1 / r.T))
    return K * (r.T / T) ** float(r.dn_gas) if r.basis == "c" else K


def check_state(d, state, may_run):
    """Balances and equilibria of a state in which only ``may_run`` have run since the stress."""
    start, end = atoms(d.at_once.amounts), atoms(state.amounts)
    for element, amount in start.items():
        scale = max(math.fsum(abs(v) for v in d.at_once.amounts.values()), 1e-12)
        assert end[element] == pytest.approx(amount, rel=1e-9, abs=1e-9 * scale)
    for r in may_run:
        solids = [n for n in r.coefficients if eq.species(n).phase in ("s", "l") and n != "H2O(l)"]
        ratio = own_Q(r, state) / own_K(r, state.T)
        if not any(state.amounts[n] == 0 for n in solids) and math.isfinite(ratio):
            if all(state.amounts[n] > 0 for n in r.coefficients if n != "H2O(l)"):
                assert ratio == pytest.approx(1, rel=1e-7), (str(r), ratio)
        elif len(solids) == 1 and math.isfinite(ratio):
            # Absent solid: what is dissolved may not be oversaturated with it.
            assert ratio <= 1 + 1e-7 if r.coefficients[solids[0]] < 0 else ratio >= 1 - 1e-7


# -- the readers, one for each kind of sentence ----

READERS = []


def reads(pattern):
    def keep(check):
        READERS.append((re.compile(pattern), check))
        return check

    return keep


class Case:
    """One disturbance and the event whose sentence is being read."""

    def __init__(self, d):
        self.d = d
        self.event = None
        self.start = None  # the state before the event

    def reaction(self, text):
        return next(r for r in self.d.mixture.reactions if str(r) == text)

    def amount(self, state, name):
        return state.amounts.get(name, 0.0)

    def conc(self, state, bracket):
        name = bracket[1:-1] if bracket[0] == "[" else bracket[2:-1] + "(g)"
        phase = eq.species(name).phase
        room = state.gas_volume if phase == "g" else state.volume
        value = self.amount(state, name) / room
        return value * R * state.T if bracket[0] == "P" else value


def changes(old_text, new_text, old, new, verb):
    near(old_text, old), near(new_text, new)
    assert verb == ("rises" if new > old else "falls")
    assert old_text != new_text


@reads(
    rf"The change of (volume|the gas volume) from ({NUMBER}) to ({NUMBER}) (mL|L) "
    rf"(dilutes|lowers|multiplies) every (?:other )?"
    rf"(?:concentration|dissolved substance|partial pressure|gas concentration) at once "
    rf"(?:to ({NUMBER}) of what it was|by ({NUMBER}))\."
)
def volume_changed(case, kind, old, new, unit, verb, part, factor):
    d, size = case.d, 1e-3 if unit == "mL" else 1.0
    gas = kind == "the gas volume"
    volumes = (d.before.gas_volume, d.at_once.gas_volume) if gas else (d.before.volume, d.at_once.volume)
    near(old, volumes[0] / size, 4), near(new, volumes[1] / size, 4)
    near(part or factor, volumes[0] / volumes[1])
    assert volumes[0] != pytest.approx(volumes[1], rel=1e-9)
    assert (verb == "multiplies") == (volumes[0] > volumes[1]) == (factor is not None)
    if d.stress.kind in ("dilute", "add_solution"):
        assert volumes[1] - volumes[0] == pytest.approx(d.stress.volume, rel=1e-9)


@reads(rf"The gas above goes from ({NUMBER}) to ({NUMBER}) (mL|L), so .+ (falls|rises) at once\.")
def gas_above(case, old, new, unit, verb):
    size = 1e-3 if unit == "mL" else 1.0
    near(old, case.d.before.gas_volume / size), near(new, case.d.at_once.gas_volume / size)
    assert verb == ("falls" if num(new) > num(old) else "rises")


@reads(rf"To keep its pressure the gas goes from ({NUMBER}) to ({NUMBER}) (mL|L); no partial .+ at once\.")
def gas_expands(case, old, new, unit):
    d = case.d
    assert num(new) / num(old) == pytest.approx(d.at_once.T / d.before.T, rel=1e-3)
    for name in d.reaction.coefficients:
        old_p = d.before.amounts[name] * d.before.T / d.before.gas_volume
        assert d.at_once.amounts[name] * d.at_once.T / d.at_once.gas_volume == pytest.approx(old_p, rel=1e-9)


@reads(rf"At constant volume this multiplies every gas pressure by ({NUMBER}) at once\.")
def gas_warms(case, factor):
    near(factor, case.d.stress.T / case.d.before.T)


@reads(r"(\S+) is a pure phase and does not stand in Q: (more|less) of it changes no concentration\.")
def pure_phase(case, name, way):
    assert eq.species(name).phase in ("s", "l")
    assert case.d.stress.kind == ("remove" if way == "less" else case.d.stress.kind)


@reads(
    rf"(\[{SPECIES}\]|P\(\S+?\)) (rises|falls) from ({NUMBER}) to ({NUMBER}) (?:mol/L|bar) at once"
    rf"(, although some was added, for the solution added is weaker)?\."
)
def jumped(case, bracket, verb, old, new, weaker):
    d = case.d
    changes(old, new, case.conc(d.before, bracket), case.conc(d.at_once, bracket), verb)
    name = bracket[1:-1] if bracket[0] == "[" else bracket[2:-1] + "(g)"
    put_in = case.amount(d.at_once, name) - case.amount(d.before, name)
    expected = 0.0
    for salt, value in d.stress.amounts:
        ions = {salt: 1} if salt == name else eq.ions_of(salt)
        expected += ions.get(name, 0) * value * (d.stress.volume or 1.0)
    expected *= -1 if d.stress.kind == "remove" else 1
    assert put_in == pytest.approx(expected, rel=1e-9, abs=1e-12 * case.amount(d.at_once, name))
    assert bool(weaker) == (put_in * (num(new) - num(old)) < 0)


@reads(rf"(\[{SPECIES}\]) stays ({NUMBER}) mol/L, for the solution added is as strong\.")
def as_strong(case, bracket, value):
    near(value, case.conc(case.d.before, bracket))
    assert case.conc(case.d.at_once, bracket) == pytest.approx(case.conc(case.d.before, bracket), rel=1.1e-6)
    assert case.d.at_once.volume > case.d.before.volume


@reads(
    rf"The forward reaction (gives out|takes up|neither gives out nor takes up) heat "
    rf"\(ΔH = ({NUMBER}) kJ/mol\), so K (stays the same|(?:rises|falls) from ({NUMBER}) to ({NUMBER}))\."
)
def heat(case, kind, enthalpy, what, old, new):
    r, d = case.d.reaction, case.d
    near(enthalpy, r.dH / 1000)
    assert (kind == "gives out") == (r.dH < 0)
    before, after = own_K(r, d.before.T), own_K(r, d.stress.T)
    if old:
        near(old, before), near(new, after)
        assert what.startswith("rises") == (after > before) == (r.dH * (d.stress.T - d.before.T) > 0)
    else:
        assert after == pytest.approx(before, rel=1e-5)


@reads(rf"The enthalpy of this reaction is not known here, so K is left at ({NUMBER})\.")
def no_enthalpy(case, K):
    assert case.d.reaction.dH is None
    near(K, case.d.reaction.K)


@reads(r"A catalyst speeds up both directions by the same factor; no amount changes\.")
def catalyst(case):
    assert case.d.stress.kind == "catalyse"
    assert dict(case.d.at_once.amounts) == pytest.approx(dict(case.d.before.amounts), rel=1e-9)


@reads(r"The reacting gases keep their volume, so their own partial pressures do not change\.")
def inert(case):
    assert case.d.at_once.gas_volume == pytest.approx(case.d.before.gas_volume, rel=1e-9)


@reads(rf"Q of ({EQUATION}) still equals K \(({NUMBER})\) at once(, for there are as many moles .+)?\.")
def unmoved(case, equation, K, equal_moles):
    r = case.reaction(equation)
    near(K, own_K(r, case.d.at_once.T))
    assert own_Q(r, case.d.at_once) == pytest.approx(own_K(r, case.d.at_once.T), rel=2e-6)
    if equal_moles:
        assert sum(n for name, n in r.coefficients.items() if eq.species(name).phase == "g") == 0


@reads(rf"By itself this makes Q ({NUMBER}), ({SIDE}) K = ({NUMBER})(?:{FAR})?\.")
def by_itself(case, Q, side, K, times):
    compare(case.d.reaction, case.d.at_once, Q, side, K, times)


def compare(r, state, Q, side, K, times):
    near(Q, own_Q(r, state)), near(K, own_K(r, state.T))
    ratio = own_Q(r, state) / own_K(r, state.T)
    assert side in {side_of(ratio * (1 - 1e-9)), side_of(ratio * (1 + 1e-9))}
    if side != "equal to":
        assert (num(Q) > num(K)) == ("above" in side)
    off = abs(math.log10(ratio)) if ratio > 0 else math.inf
    assert bool(times) == (off > 5)  # how many times is told where a factor of 100,000 is passed
    if times:
        assert int(times.translate(_SUPER)) == pytest.approx(off, abs=0.51)


@reads(
    rf"(?:At once |Now )?({EQUATION}) has Q = (.+?) = ((?:{NUMBER}|[\d(].*?) = )?({NUMBER}), "
    rf"({SIDE}) (?:its )?K = ({NUMBER})(?:{FAR})?\."
)
def fraction(case, equation, symbols, numbers, Q, side, K, times):
    r = case.reaction(equation)
    state = case.event.state if case.event.kind in ("quotient", "answer") else case.start
    if case.event.kind == "answer":
        state = case.start
    compare(r, state, Q, side, K, times)
    check_symbols(case, r, symbols, state, numbers)
    single = len(re.findall(r"\[|P\(", symbols)) == 1 and not re.search("[⁰¹²³⁴⁵⁶⁷⁸⁹]$", symbols)
    assert bool(numbers) == (not single)
    if numbers:
        assert value_of(numbers.removesuffix(" = ")) == pytest.approx(num(Q), rel=0.03)


def value_of(text):
    """The fraction as a student would type it into a calculator."""
    for number in sorted(set(re.findall(NUMBER, text)), key=len, reverse=True):
        text = re.sub(rf"(?<![\d.e+-]){re.escape(number)}(?![\d.])", repr(num(number)), text)
    text = re.sub(r"([⁰¹²³⁴⁵⁶⁷⁸⁹]+)", lambda m: "**" + m[1].translate(_SUPER), text.replace("×", "*"))
    assert re.fullmatch(r"[\d.e+*/() -]+", text), text
    return eval(text, {"__builtins__": {}})


def check_symbols(case, r, symbols, state, numbers):
    """Each species of Q stands once, on its side, with its power; solids and the solvent do not."""
    top, _, bottom = symbols.partition(" / ")
    for part, sign in ((top, 1), (bottom, -1)):
        found = {}
        for bracket, power in re.findall(r"(\[[^\]]+\]|P\([^ ]+?\)(?!\)))([⁰¹²³⁴⁵⁶⁷⁸⁹]*)", part):
            name = bracket[1:-1] if bracket[0] == "[" else bracket[2:-1] + "(g)"
            found[name] = Fraction(int(power.translate(_SUPER) or 1))
        wanted = {
            n: Fraction(abs(v))
            for n, v in r.coefficients.items()
            if eq.species(n).phase in ("aq", "g") and v * sign > 0
        }
        assert found == wanted


@reads(rf"At once ({EQUATION}) has Q = (.+?)( = 0| with 0 below the line), for there is no (.+?) yet\.")
def one_sided(case, equation, symbols, Q, gone):
    r = case.reaction(equation)
    check_symbols(case, r, symbols, case.start, None)
    assert case.amount(case.start, gone) == 0
    assert (r.coefficients[gone] > 0) == (Q == " = 0")


@reads(
    rf"(?:At once |Now )?({EQUATION}) has Q = (.+?) with practically no (\S+) left, "
    rf"far (above|below) (?:its )?K = ({NUMBER})(?:{FAR})?\."
)
def hardly_any(case, equation, symbols, name, side, K, times):
    """Less than one ion in a millilitre: 6.022e23 × 1e-24 mol."""
    r = case.reaction(equation)
    check_symbols(case, r, symbols, case.start, None)
    near(K, own_K(r, case.d.at_once.T))
    assert 0 < case.conc(case.start, f"[{name}]") * 6.022e23 * 1e-3 < 1
    assert (r.coefficients[name] > 0) == (side == "below")


@reads(rf"(?:At once |Now )?({EQUATION}) has Q = (.+?) without a value, for there is no (.+?)\.")
def no_value(case, equation, symbols, gone):
    r = case.reaction(equation)
    check_symbols(case, r, symbols, case.start, None)
    assert math.isnan(own_Q(r, case.start))
    assert all(case.amount(case.start, name) == 0 for name in gone.split(" and no "))


@reads(rf"Q (<|>) K (would ask) for change ({WAY})\.")
def asks(case, sign, asks, way):
    d = case.d
    assert (sign == "<") == way.startswith("to products")
    assert d.direction == "none"


@reads(
    rf"(?:It|({EQUATION}) has no (\S+) yet, so it) runs ({WAY})"
    rf"(?:, for the (\S+) that it makes is used up at once,)?"
    rf" and (takes up|gives back|makes) ({AMOUNT}) of (\S+?)"
    rf"(?: \(and ({EQUATION}) another ({AMOUNT})\))?"
    rf"(?:, while other equilibria (take up|give back)(?: nearly)? ({AMOUNT})(?: more)?)?"
    rf": (\[{SPECIES}\]|P\(\S+?\)) (rises|falls) from ({NUMBER})(?: mol/L| bar)? to (.+)\."
)
def ran(
    case, eq_, absent, way, drawn, verb, amount, name, other, second, rest_verb, rest, bracket, went, old, new
):
    start, end = case.start, case.event.state
    main = case.event.rivals[0].quotient.reaction
    if absent:
        assert case.reaction(eq_) == main
        assert case.amount(start, absent) == 0
        assert (main.coefficients[absent] > 0) == way.startswith("to products")
    if drawn:
        assert (main.coefficients[drawn] > 0) == way.startswith("to products")
        made = abs(float(main.coefficients[drawn]) / float(main.coefficients[name])) * mol(amount)
        assert case.amount(end, drawn) - case.amount(start, drawn) < 0.101 * made
    assert bracket in (f"[{name}]", f"P({name.removesuffix('(g)')})")
    assert went == ("falls" if verb == "takes up" else "rises")
    assert (verb == "makes") == (went == "rises" and case.amount(start, name) == 0)
    near(old, case.conc(start, bracket))
    left = re.fullmatch(rf"(practically none \()?({NUMBER}) (?:mol/L|bar)\)?|practically none", new)
    if left[2]:
        near(left[2], case.conc(end, bracket))
    else:
        assert case.conc(end, bracket) * 6.022e23 * 1e-3 < 1
    assert ("none" in new) == (case.conc(end, bracket) < 1e-6 * case.conc(start, bracket))
    sign = -1 if verb == "takes up" else 1
    total = mol(amount) + (mol(second) if second else 0.0)
    if rest:
        total += mol(rest) * (1 if (rest_verb == "take up") == (sign < 0) else -1)
    change = case.amount(end, name) - case.amount(start, name)
    doubt = sum(0.0052 * mol(text) for text in (amount, second, rest) if text)
    assert sign * total == pytest.approx(change, rel=0.011, abs=doubt)
    assert (main.coefficients[name] * sign > 0) == way.startswith("to products")
    for r, text in ((main, amount), (other and case.reaction(other), second)):
        if r and (own := by_own_species(case.d, r, start, end)) is not None:
            told(text, abs(float(r.coefficients[name]) * own))


def by_own_species(d, r, start, end):
    """The extent of ``r`` from a species that no other reaction has; None where there is none."""
    for name, number in r.coefficients.items():
        if name != "H2O(l)" and sum(name in other.coefficients for other in d.mixture.reactions) == 1:
            change = end.amounts.get(name, 0.0) - start.amounts.get(name, 0.0)
            if abs(change) > 1e-6 * max(end.amounts.get(name, 0.0), start.amounts.get(name, 0.0)):
                return change / float(number)
    return None


@reads(rf"The reaction runs ({WAY}): the amount of (\S+) (grows|falls) (.+?)(?: \(([^()]+)\))?\.")
def answered(case, way, name, verb, numbers, share):
    d = case.d
    start, end = case.amount(d.at_once, name), case.amount(d.after, name)
    forward = way.startswith("to products")
    assert d.direction == ("forward" if forward else "reverse")
    assert verb == ("grows" if end > start else "falls")
    assert (d.reaction.coefficients[name] > 0) == ((end > start) == forward)
    change_is(numbers, start, end)
    if share and "times" in share:
        near(share.removesuffix(" times as much"), end / start)
        assert end > 3 * start
    elif share.endswith(" of what it was") if share else False:
        near(share.removeprefix("to ").removesuffix(" of what it was"), end / start)
        assert end < 0.01 * start
    elif share:
        near(share.replace("+", "").removesuffix(" %"), 100 * (end / start - 1))
        assert share != "−100 %"
    else:
        gone = min(start, end) < 1e-6 * max(start, end) or min(start, end) * 6.022e23 < 1
        assert gone or abs(end / start - 1) < 1e-5


def change_is(text, start, end):
    """The printed amounts: right, and where a difference is told they add up to the last figure."""
    power = re.search(r" × 10⁻\S+ mol, from", text)
    if power:  # "0.399 × 10⁻¹² mol, from 1.091 × 10⁻¹² to 0.692 × 10⁻¹² mol": one power for all three
        shared = power[0].removesuffix(" mol, from")
        assert text.count(shared) == 3
        start, end, text = start / num(f"1{shared}"), end / num(f"1{shared}"), text.replace(shared, "")
    if found := re.fullmatch(rf"by ({NUMBER}) (\S+), from ({NUMBER}) to ({NUMBER}) (\S+)", text):
        by, unit, first, last, same = found.groups()
        assert unit == same
        exact = [Fraction(value) for value in (first, last, by)]
        assert abs(exact[0] - exact[1]) == exact[2]
        assert mol(f"{by} {unit}") == pytest.approx(abs(end - start), rel=0.011)
        for shown, value in ((first, start), (last, end)):
            assert mol(f"{shown} {unit}") == pytest.approx(value, abs=0.006 * abs(end - start), rel=0)
    elif found := re.fullmatch(rf"from ({AMOUNT}) to practically none", text):
        told(found[1], start)
        assert end < 1e-6 * start or end * 6.022e23 < 1
    elif found := re.fullmatch(rf"from practically none to ({AMOUNT})", text):
        told(found[1], end)
        assert start < 1e-6 * end or start * 6.022e23 < 1
    elif found := re.fullmatch(rf"by only ({AMOUNT}), to ({AMOUNT})", text):
        told(found[1], abs(end - start)), told(found[2], end)
        assert abs(end - start) < 1e-3 * max(start, end)
    else:
        first, unit, last = re.fullmatch(rf"from ({NUMBER})( \S+)? to ({AMOUNT})", text).groups()
        told(first + (unit or " " + last.rsplit(" ", 1)[1]), start), told(last, end)
        assert min(start, end) < 0.05 * max(start, end)


@reads(
    rf"Its (concentration|partial pressure) (rises|falls)( all the same,)? from ({NUMBER}) (?:mol/L|bar) "
    rf"before to ({NUMBER}) (?:mol/L|bar) now(, because .+)?\."
)
def concentration(case, what, verb, same, old, new, because):
    before, after = told_concentration(case, what)
    changes(old, new, before, after, verb)
    grew = case.amount(case.d.after, case.name) > case.amount(case.d.at_once, case.name)
    assert bool(same) == bool(because) == (grew != (after > before))


@reads(rf"Its (concentration|partial pressure) is ({NUMBER}) (?:mol/L|bar)(, as before| now)\.")
def concentration_left(case, what, value, when):
    before, after = told_concentration(case, what)
    near(value, after)
    if when == ", as before":
        assert after == pytest.approx(before, rel=6e-4)
    else:
        assert before < 1.1e-6 * after


def told_concentration(case, what):
    bracket = f"P({case.name.removesuffix('(g)')})" if what == "partial pressure" else f"[{case.name}]"
    return case.conc(case.d.before, bracket), case.conc(case.d.after, bracket)


@reads(
    rf"(The|Most of the) (\S+) that this (sets free|uses) is (?:taken up|given back) in turn \(({AMOUNT})\)\."
)
def in_turn(case, share, name, what, amount):
    d = case.d
    turning = case.d.events[-2].state
    main = next(e for e in d.events if e.kind == "rival").rivals[0].quotient.reaction
    freed = float(d.reaction.coefficients[name]) * by_watched(d, turning)
    assert (what == "sets free") == (freed > 0)
    own = by_own_species(d, main, turning, d.after)
    if own is not None:
        told(amount, abs(float(main.coefficients[name]) * own))
    limit = 0.49 if share == "Most of the" else 0.94
    assert mol(amount) > limit * abs(freed)


def by_watched(d, start):
    own = by_own_species(d, d.reaction, start, d.after)
    return d.extent if own is None else own


@reads(rf"(\S+) appears, ({AMOUNT}) of it\.")
def appears(case, name, amount):
    assert case.amount(case.d.at_once, name) == 0
    told(amount, case.amount(case.d.after, name))


@reads(rf"No (\S+) is left(?:, for it is used up by ({EQUATION}))?\.")
def gone(case, name, by):
    assert case.amount(case.d.at_once, name) > 0 == case.amount(case.d.after, name)
    if by:
        assert name in case.reaction(by).coefficients
        assert case.reaction(by) != case.d.reaction


@reads(
    rf"The reaction does not shift(?:, for there is no (\S+) to react)?"
    rf"(?:: the amount of (\S+) stays ({AMOUNT}))?\."
)
def no_shift(case, missing, name, amount):
    d = case.d
    assert d.direction == "none"
    if missing:
        assert case.amount(d.after, missing) == 0
    put_in = [
        n
        for n in d.reaction.coefficients
        if case.amount(d.at_once, n) != pytest.approx(case.amount(d.before, n), rel=1e-9)
    ]
    assert name is not None if not put_in else name not in put_in
    if name:
        told(amount, case.amount(d.after, name))
        assert case.amount(d.after, name) == pytest.approx(case.amount(d.at_once, name), rel=1e-6, abs=1e-30)


# -- reading a whole explanation ----

_BREAK = re.compile(r"(?<=\.) (?=[A-Z\[])")


def one_claim_each(text):
    """Two claims in one breath, as two sentences for the readers."""
    text = re.sub(rf"( its K = {NUMBER}(?:{FAR})?), so it runs", r"\1. It runs", text)
    text = text.replace(": by itself this", ". By itself this").replace(
        ", so the reaction runs", ". The reaction runs"
    )
    return re.sub(r", while (?=\[|P\()", ". ", text)


def check(d):
    """Read every sentence of every event; returns how often each reader was used."""
    case, used = Case(d), {}
    case.start = d.at_once
    assert 2 <= len(d.events) <= 4
    for event in d.events:
        case.event = event
        for sentence in _BREAK.split(one_claim_each(event.sentence)):
            if found := re.match(r"The reaction runs .+: the amount of (\S+) ", sentence):
                case.name = found[1]
            for pattern, reader in READERS:
                if match := pattern.fullmatch(sentence):
                    reader(case, *match.groups())
                    used[reader.__name__] = used.get(reader.__name__, 0) + 1
                    break
            else:
                raise AssertionError(f"no reader for: {sentence}")
        case.start = event.state
    return used


def check_way(d):
    """States lawful; and the side of K at the turn is the way it runs, always."""
    others = [*d.others[0], *d.others[1]]
    for event in d.events:
        if event.kind in ("rival", "quotient") and event.state is not d.at_once:
            check_state(d, event.state, others)
    check_state(d, d.after, d.mixture.reactions)
    turning = d.events[-2]
    if d.direction != "none":
        ratio = own_Q(d.reaction, turning.state) / own_K(d.reaction, d.at_once.T)
        assert (ratio < 1) == (d.direction == "forward")


@pytest.mark.parametrize(("name", "key"), CASES)
def test_every_sentence_about_every_catalogue_stress(name, key):
    d = outcome_of(eq.system(name), key)
    used = check(d)
    check_way(d)
    done = d.stress.describe()
    assert d.explanation.startswith(f"{done[0].upper()}{done[1:]}. {d.events[0].sentence}")
    assert used.get("answered", 0) + used.get("no_shift", 0) == 1
    assert not re.search(r"\^|<=>", d.explanation_unicode)
    assert d.explanation_unicode.count(".") == d.explanation.count(".")


IRON = eq.Reaction("Fe^3+ + SCN^- <=> FeSCN^2+", K=140, dH=-6000)
RIVALS = [
    eq.Reaction("AgSCN(s) <=> Ag^+ + SCN^-", K=1e-12),
    eq.Reaction("Fe^3+ + F^- <=> FeF^2+", K=1.6e5),
    eq.Reaction("Fe^3+ + C2O4^2- <=> FeC2O4^+", K=2.5e7),
    eq.Reaction("HC2O4^- <=> H^+ + C2O4^2-", K=5.4e-5),
    eq.Reaction("Fe^3+ + H2O(l) <=> FeOH^2+ + H^+", K=1.8e-3),
    eq.Reaction("H2O(l) <=> H^+ + OH^-", K=1e-14),
    eq.Reaction("Fe(OH)3(s) <=> Fe^3+ + 3 OH^-", K=4e-38),
]
LOGS = st.floats(-5, -1).map(lambda p: 10.0**p)
STOCKS = st.sampled_from(["AgNO3", "KSCN", "Fe(NO3)3", "NaF", "Na2C2O4", "HNO3", "NaOH", "KNO3"])


@st.composite
def disturbances(draw):
    chosen = draw(st.lists(st.sampled_from(RIVALS), unique=True, max_size=5))
    litres = draw(st.sampled_from([0.002, 0.01, 1.5]))
    m = eq.Mixture(
        {"Fe^3+": draw(LOGS), "SCN^-": draw(LOGS), "H^+": draw(st.sampled_from([0.01, 0.1, 0.5]))},
        [IRON, *chosen],
        volume=litres,
    )
    kind = draw(st.sampled_from(["solution", "salt", "water", "heat"]))
    if kind == "solution":
        added = litres * draw(st.floats(0.001, 3))
        return eq.disturb(m, eq.Stress.add_solution({draw(STOCKS): draw(LOGS)}, volume=added))
    if kind == "salt":
        return eq.disturb(m, eq.Stress.add(draw(STOCKS), draw(LOGS) * litres))
    if kind == "water":
        return eq.disturb(m, eq.Stress.dilute(litres * draw(st.floats(0.001, 20))))
    return eq.disturb(m, eq.Stress.heat_to(draw(st.floats(275.0, 370.0))))


@settings(max_examples=120, deadline=None)
@given(disturbances())
def test_every_sentence_about_random_mixtures(d):
    used = check(d)
    check_way(d)
    assert ("volume_changed" in used) == (d.stress.kind in ("add_solution", "dilute"))
    assert "heat" in used or d.stress.kind != "heat_to" or abs(d.stress.T - 298.15) < 0.01


GAS = eq.Reaction("2 NO2(g) <=> N2O4(g)", K=6.8, basis="p", dH=-57200)
IODIDE = eq.Reaction("H2(g) + I2(g) <=> 2 HI(g)", K=50.0, T=700.0, dH=-9500)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([GAS, IODIDE]),
    st.floats(0.001, 1.0),
    st.sampled_from([None, 1.0]),
    st.one_of(
        st.floats(0.1, 10.0).map(lambda v: eq.Stress.change_volume(v)),
        st.floats(0.001, 1.0).map(lambda n: eq.Stress.add_inert(n)),
        st.floats(0.001, 1.0).map(lambda n: eq.Stress.add_inert(n, constant="pressure")),
        st.floats(280.0, 800.0).map(eq.Stress.heat_to),
        st.just(eq.Stress.catalyse()),
    ),
)
def test_every_sentence_about_gases(r, amount, pressure, stress):
    first = next(iter(r.reactants))
    m = eq.Mixture(dict.fromkeys(r.reactants, amount) | {first: 2 * amount}, [r], T=r.T, pressure=pressure)
    d = eq.disturb(m, stress)
    used = check(d)
    check_way(d)
    if stress.kind == "heat_to" and abs(stress.T - r.T) > 0.01:
        assert "heat" in used
        assert ("gas_warms" in used) == (r is GAS and pressure is None)
        assert ("gas_expands" in used) == (r is GAS and pressure is not None)


def test_without_the_rival_only_the_rest_happens():
    """Silver without AgSCN only dilutes: 10 mL to 10.5 mL, and x solves 140 = x/((a - x)(b - x)) by hand."""
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON, RIVALS[0]], volume=0.010)
    d = eq.disturb(m, eq.Stress.add_solution({"AgNO3": 0.1}, volume=0.0005))
    assert d.rivals == (RIVALS[0],)
    alone = d.without()
    c = 1e-3 * 10 / 10.5
    b = 2 * c + 1 / 140
    x = (b - math.sqrt(b * b - 4 * c * c)) / 2
    assert alone.after["FeSCN^2+"] == pytest.approx(x, rel=1e-9)
    assert alone.after["Ag^+"] == pytest.approx(0.1 * 0.5 / 10.5, rel=1e-9)
    assert alone.before is d.before
    assert alone.at_once is d.at_once
    assert [e.kind for e in alone.events] == ["at once", "quotient", "answer"]
    assert alone.rivals == ()
    check(alone)


def test_what_had_formed_stays_when_its_reaction_is_left_out():
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3, "F^-": 1e-3}, [IRON, RIVALS[1]])
    d = eq.disturb(m, eq.Stress.dilute(1.0))
    alone = d.without(RIVALS[1])
    assert alone.after.amounts["FeF^2+"] == pytest.approx(d.before.amounts["FeF^2+"], rel=1e-12)


def test_only_another_reaction_can_be_left_out():
    d = eq.disturb(eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 1e-3}, [IRON]), eq.Stress.dilute(1.0))
    with pytest.raises(eq.EqlibError, match="cannot be left out"):
        d.without(IRON)
    with pytest.raises(eq.EqlibError, match="cannot be left out"):
        d.without(RIVALS[0])


def test_a_sum_of_other_reactions_is_told_too():
    overall = eq.Reaction("Ag^+ + 2 NH3 <=> Ag(NH3)2^+", K=1.6e7)
    steps = [
        eq.Reaction("Ag^+ + NH3 <=> Ag(NH3)^+", K=2.0e3),
        eq.Reaction("Ag(NH3)^+ + NH3 <=> Ag(NH3)2^+", K=8.0e3),
    ]
    m = eq.Mixture({"Ag^+": 0.01, "NH3": 0.02, "NO3^-": 0.01}, [overall, *steps])
    for stress, way in ((eq.Stress.add("NH3", 0.01), "forward"), (eq.Stress.dilute(1.0), "reverse")):
        d = eq.disturb(m, stress)
        assert d.direction == way
        check(d)
        check_way(d)


def test_a_solution_as_strong_as_the_mixture_changes_nothing_by_itself():
    """Free thiocyanate x solves x + 140 x 1e-3 / (1 + 140 x) = 2e-3 with 1e-3 mol/L of iron in all."""
    m = eq.Mixture({"Fe^3+": 1e-3, "SCN^-": 2e-3}, [IRON], volume=0.010)
    free = m.equilibrate()["SCN^-"]
    assert free + 140 * free * 1e-3 / (1 + 140 * free) == pytest.approx(2e-3, rel=1e-9)
    d = eq.disturb(m, eq.Stress.add_solution({"KSCN": free}, volume=0.002))
    assert "[SCN^-] stays" in d.explanation
    check(d)


def test_product_put_in_where_nothing_can_react_is_not_said_to_stay():
    silver = eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10)
    d = eq.disturb(eq.Mixture({"Ag^+": 1e-6, "Cl^-": 1e-6}, [silver]), eq.Stress.add("NaCl", 1e-6))
    assert d.direction == "none"
    assert d.events[-1].sentence == "The reaction does not shift, for there is no AgCl(s) to react."
    check(d)


def test_two_rivals_are_named_where_both_matter():
    """Equal binding by fluoride and oxalate: each takes a share, told with its own complex's amount."""
    fluoride = eq.Reaction("Fe^3+ + F^- <=> FeF^2+", K=1e5)
    oxalate = eq.Reaction("Fe^3+ + C2O4^2- <=> FeC2O4^+", K=1e5)
    m = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3}, [IRON, fluoride, oxalate])
    d = eq.disturb(m, eq.Stress.add_solution({"NaF": 0.01, "Na2C2O4": 0.01}, volume=0.05))
    (rival,) = [e for e in d.events if e.kind == "rival"]
    assert [r.quotient.reaction for r in rival.rivals] == [fluoride, oxalate]
    for told, name in zip(rival.rivals, ("FeF^2+", "FeC2O4^+"), strict=True):
        assert told.species == "Fe^3+"
        assert -told.amount == pytest.approx(rival.state.amounts[name], rel=1e-9)
    check(d)


def test_the_rivals_of_a_dilution_are_left_out_where_they_hardly_matter():
    """Hydrolysis moves ln(Q/K) by less than a tenth of what tenfold dilution does, so it is not told."""
    m = eq.Mixture({"Fe^3+": 2e-3, "SCN^-": 1e-3, "H^+": 0.5}, [IRON, RIVALS[4]], volume=0.01)
    d = eq.disturb(m, eq.Stress.dilute(0.09))
    assert d.rivals == ()
    settled = d.settled()
    moved = math.log(own_Q(IRON, settled) / own_Q(IRON, d.at_once))
    assert 0 < moved < 0.1 * math.log(own_Q(IRON, settled) / 140)
    less = m.with_(totals={**m.totals, "H^+": 0.01})
    assert eq.disturb(less, eq.Stress.dilute(0.09)).rivals == (RIVALS[4],)


AMMINE = [
    eq.Reaction("Cu^2+ + 4 NH3 <=> Cu(NH3)4^2+", K=1.1e13),
    eq.Reaction("NH3 + H^+ <=> NH4^+", K=1.8e9),
    eq.water(),
]
TRIIODIDE = [
    eq.Reaction("I2 + I^- <=> I3^-", K=710),
    eq.Reaction("AgI(s) <=> Ag^+ + I^-", K=8.5e-17),
]
FLUORITE = [
    eq.Reaction("CaF2(s) <=> Ca^2+ + 2 F^-", K=3.5e-11),
    eq.Reaction("H^+ + F^- <=> HF", K=1.5e3),
]
COPPER = eq.Mixture({"Cu^2+": 0.01, "NH3": 0.2, "SO4^2-": 0.01}, AMMINE, volume=0.02)
IODINE = eq.Mixture({"I2": 1e-3, "I^-": 0.02, "K^+": 0.02}, TRIIODIDE, volume=0.01)
SPAR = eq.Mixture({"CaF2(s)": 0.01}, FLUORITE, volume=0.1)
CHROMATE = eq.Mixture(
    {"CrO4^2-": 0.05, "H^+": 0.02},
    [
        eq.Reaction("2 CrO4^2- + 2 H^+ <=> Cr2O7^2- + H2O(l)", K=4e14),
        eq.Reaction("BaCrO4(s) <=> Ba^2+ + CrO4^2-", K=1.2e-10),
        eq.water(),
    ],
    volume=0.01,
)
SULFUR = eq.Mixture(
    {"SO2(g)": 0.05, "O2(g)": 0.03},
    [eq.Reaction("2 SO2(g) + O2(g) <=> 2 SO3(g)", K=280, T=1000.0, dH=-198e3)],
    volume=2.0,
    T=1000.0,
)
LATER = [
    (COPPER, eq.Stress.add_solution({"HNO3": 1.0}, 0.003), "reverse"),
    (COPPER, eq.Stress.add_solution({"HNO3": 0.1}, 0.0005), "reverse"),
    (COPPER, eq.Stress.add_solution({"HNO3": 4.0}, 0.003), "reverse"),
    (IODINE, eq.Stress.add_solution({"AgNO3": 0.1}, 0.001), "reverse"),
    (IODINE, eq.Stress.add_solution({"AgNO3": 0.1}, 0.003), "reverse"),
    (SPAR, eq.Stress.add_solution({"HNO3": 1.0}, 0.01), "forward"),
    (SPAR, eq.Stress.add_solution({"NaF": 0.5}, 0.01), "reverse"),
    (CHROMATE, eq.Stress.add_solution({"HNO3": 1.0}, 0.001), "forward"),
    (CHROMATE, eq.Stress.add_solution({"NaOH": 1.0}, 0.001), "reverse"),
    (CHROMATE, eq.Stress.add_solution({"Ba(NO3)2": 0.2}, 0.002), "reverse"),
    (SULFUR, eq.Stress.change_volume(1.0), "forward"),
    (SULFUR, eq.Stress.remove("O2(g)", 0.02), "reverse"),
    (SULFUR, eq.Stress.heat_to(1100.0), "reverse"),
]


@pytest.mark.parametrize(("mixture", "stress", "way"), LATER, ids=range(len(LATER)))
def test_every_sentence_about_other_systems(mixture, stress, way):
    """Which way each goes is a fact of the textbooks; every number of the telling is worked out again."""
    d = eq.disturb(mixture, stress)
    assert d.direction == way
    check(d)
    check_way(d)
    assert not re.search(r"infinity|nan|\de[+−-]?\d|0\.00000", d.explanation)


def test_what_makes_a_rival_run_although_its_q_is_close_to_its_k():
    """Acid turns ammonia into ammonium, told by way of water: the OH- that ammonia makes is used up."""
    base = eq.Reaction("NH3 + H2O(l) <=> NH4^+ + OH^-", K=1.8e-5)
    reactions = [
        eq.Reaction("AgCl(s) <=> Ag^+ + Cl^-", K=1.8e-10),
        eq.Reaction("Ag^+ + 2 NH3 <=> Ag(NH3)2^+", K=1.6e7),
        base,
        eq.water(),
    ]
    m = eq.Mixture({"Ag^+": 0.004, "Cl^-": 0.004, "NH3": 0.4, "NO3^-": 0.004}, reactions, volume=0.0025)
    d = eq.disturb(m, eq.Stress.add_solution({"HNO3": 2.0}, 0.0008))
    assert d.direction == "reverse"
    told = next(e for e in d.events if base in [r.quotient.reaction for r in e.rivals])
    assert "for the OH^- that it makes is used up at once, and takes up" in told.sentence
    check(d)
