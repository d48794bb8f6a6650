"""The words of a prep sheet, once as plain text and once as Markdown."""

from eqlib.chem.catalogue.ghs import CHECK_SDS, STATEMENTS
from eqlib.chem.species import species


def as_text(sheet):
    """Plain text: headings underlined, one fact to a line."""
    lines = []
    for heading, body in _sections(sheet):
        lines += [heading, "-" * len(heading), *body, ""]
    return "\n".join(lines).rstrip() + "\n"


def as_markdown(sheet):
    """Markdown: the same sections; the stocks as a table as well."""
    parts = []
    for number, (heading, body) in enumerate(_sections(sheet)):
        parts.append(f"{'#' if number == 0 else '##'} {heading}\n")
        if heading == "Stocks" and sheet.stocks:
            parts.append(_table(sheet))
        parts.append("\n".join(_bullet(line) for line in body) + "\n")
    return "\n".join(parts)


def _bullet(line):
    stripped = line.lstrip()
    depth = (len(line) - len(stripped)) // 2
    return "  " * depth + ("" if stripped.startswith("- ") else "- ") + stripped


def _sections(sheet):
    system = sheet.system
    yield f"Prep sheet: {system.title}", _heading_lines(sheet)
    if system.data_only:
        yield "Not for the bench", [f"Use {system.data_only}.", *system.pitfalls]
    else:
        yield (
            "Stocks",
            [line for stock in sheet.stocks for line in _stock_lines(stock)] or [_no_stocks(system)],
        )
        yield (
            "Labels",
            [line for stock in sheet.stocks for line in _label_lines(stock.label)] or ["None to write."],
        )
        yield "On the bench", [*system.recipe.steps, *_stress_lines(system)]
        yield "Pitfalls", list(system.pitfalls)
    yield "Hazards of the bottles", _hazard_lines(system)
    yield "Protection", list(system.ppe)
    yield "Spills", list(system.spill)
    yield "Waste", [*system.waste, *_waste_lines(sheet)]
    yield "Before anything else", [CHECK_SDS]


def _heading_lines(sheet):
    system = sheet.system
    lines = [f"System: {system.name}"]
    if system.data_only:
        return lines
    sets = _count(sheet.demonstrations, "demonstration set")
    spare = f"{sheet.reserve:.0%} reserve"
    if system.recipe.demonstration_only:
        lines.append(f"Demonstration only, by trained staff: {sets}, {spare}; the class watches")
        lines.append(f"Each set: {sheet.wells} times {system.recipe.vessel}")
    else:
        lines.append(f"For {_count(sheet.groups, 'group')}, {spare}, {sets}")
        lines.append(f"Each group: {sheet.wells} times {system.recipe.vessel}")
    return [*lines, "Each test stands beside an untouched control and one that gets water instead"]


def _count(number, what):
    return f"{number} {what}{'' if number == 1 else 's'}"


def _no_stocks(system):
    return f"No stock to make: {system.recipe.vessel}."


def _stock_lines(stock):
    total = f"{_ml(stock.per_group)} a set, {_ml(stock.needed)} in all: make {_ml(stock.make)}"
    lines = [f"{stock.name}: {total}"]
    for item in stock.weigh:
        lines.append(f"  weigh {_g(item.grams)} {item.name}, {_formula(item.formula)}")
        lines += [
            f"  or {_g(grams)} of {_formula(form)}, if that is in the bottle" for form, grams in item.others
        ]
        if item.dry_trap:
            dry, grams, share = item.dry_trap
            lines.append(
                f"  trap: {_g(grams)} is the mass for dry {_formula(dry)}; weighed from this bottle it gives "
                f"{share:.0%} of the strength"
            )
    for item in stock.measure:
        if item.molarity is None or abs(item.litres - stock.make) < 1e-12:
            lines.append(f"  use {_ml(item.litres)} {item.name} as it is")
        else:
            lines.append(f"  measure {_ml(item.litres)} {item.name}, {item.molarity:g} mol/L by its label")
    if all(item.litres < stock.make for item in stock.measure):
        lines.append(f"  make up to {_ml(stock.make)} with {stock.solvent}")
    return lines + [f"  note: {note}" for note in stock.notes]


def _label_lines(label):
    warn = ", ".join(label.pictograms) or "no pictogram"
    codes = ", ".join(label.codes) or "no H code"
    lines = [f"{label.name} | made on {label.made_on or '____-__-__'} | by ____ | bottle: {warn}; {codes}"]
    return lines + ([f"  keep: {label.keep}"] if label.keep else [])


def _stress_lines(system):
    lines = []
    for stress in system.steps.values():
        if stress.on_bench:
            lines.append(f"{stress.title}: {stress.seen_words}")
            lines.append(f"  caution: {stress.caution}")
            lines.append(f"  back again: {stress.reversal}")
    return lines


def _hazard_lines(system):
    lines = []
    for hazard in system.hazards:
        words = (
            "; ".join(f"{code} {STATEMENTS[code]}" for code in hazard.codes) or "no hazard code on our list"
        )
        pictures = f" [{', '.join(hazard.pictograms)}]" if hazard.pictograms else ""
        lines.append(f"{hazard.reagent}{pictures}: {words}")
        lines += [f"  {hazard.note}"] if hazard.note else []
        lines.append(f"  classification: {hazard.source}")
    lines.append("Codes are those of the bought bottle; a dilute stock is milder, but not harmless.")
    return lines


def _waste_lines(sheet):
    return [f"{stock.name}: {stock.waste}" for stock in sheet.stocks if stock.waste]


def _table(sheet):
    rows = ["| Stock | Make | Weigh | Measure |", "|-|-|-|-|"]
    for stock in sheet.stocks:
        weigh = "; ".join(f"{_g(item.grams)} {_formula(item.formula)}" for item in stock.weigh) or "-"
        measure = "; ".join(f"{_ml(item.litres)} {item.name}" for item in stock.measure) or "-"
        rows.append(f"| {stock.name} | {_ml(stock.make)} | {weigh} | {measure} |")
    return "\n".join(rows) + "\n"


def _formula(formula):
    return species(formula).unicode


def _g(grams):
    """Three significant figures, with trailing zeros kept: they say how well to weigh."""
    return f"{_three(grams)} g"


def _ml(litres):
    return f"{_three(litres * 1000)} mL" if litres < 1 else f"{litres:g} L"


def _three(value):
    text = f"{value:#.3g}"
    return text.rstrip(".") if "e" not in text else f"{value:g}"
