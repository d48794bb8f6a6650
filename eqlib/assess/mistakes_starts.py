"""Starting concentrations with the dilution forgotten, in part or altogether."""


def stock_starts(problem, coefficients):
    """(mistake, start, why) for each way of forgetting the dilution.

    All reactants at bottle strength; one of them alone; the water left out of the total volume. Nothing when
    the start was not poured together.
    """
    bottles, filled = {}, 0.0
    for portion in problem.portions:
        for name, conc in portion.concentrations.items():
            bottles[name] = max(conc, bottles.get(name, 0.0))
        filled += portion.volume if any(portion.concentrations.values()) else 0.0
    total = sum(p.volume for p in problem.portions)
    poured = [n for n, c in coefficients.items() if c < 0 and bottles.get(n, 0.0) > 0]
    if not poured or total <= 0:
        return
    start = dict(problem.mixed)
    yield "stock_conc", {**start, **{n: bottles[n] for n in poured}}, "bottle strength for all"
    if 0 < filled < total * (1 - 1e-9):
        share = total / filled
        yield "stock_conc", {n: c * share for n, c in start.items()}, "water left out of the volume"
    if len(poured) > 1:
        for name in poured:
            yield "stock_conc", {**start, name: bottles[name]}, f"bottle strength for {name}"


def added_undiluted(problem):
    """(concentrations, why) just after a solution was added, with the dilution by it forgotten.

    Either what was there is not thinned, or what comes in keeps its bottle strength.
    """
    added, volume = solution_added(problem.stress)
    if not added or not problem.before or problem.volume <= 0:
        return
    before = problem.before
    kept = {n: c + added.get(n, 0.0) * volume / problem.volume for n, c in before.items()}
    kept |= {n: c * volume / problem.volume for n, c in added.items() if n not in before}
    yield kept, "volume of the added solution left out"
    strong = {n: before.get(n, 0.0) + c for n, c in added.items()}
    yield {**before, **strong}, "bottle strength for what was added"


def solution_added(stress):
    """(ion or molecule -> mol/L in the bottle, litres) of an added solution; ({}, 0) for any other stress."""
    if getattr(stress, "kind", "") != "add_solution":
        return {}, 0.0
    from eqlib.chem.salts import dissolved

    return dict(dissolved(dict(stress.amounts))), float(stress.volume)
