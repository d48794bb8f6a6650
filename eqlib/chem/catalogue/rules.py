"""Does a catalogue file make chemical sense? Each rule is one function; the first fault found is raised.

Every rule takes the file's path (for the complaint) and its parsed contents, whose shape has been checked
already.
"""

import re
from itertools import pairwise

from eqlib.chem.catalogue.errors import complaint, near, suggestion
from eqlib.chem.catalogue.ghs import PICTOGRAMS, STATEMENTS
from eqlib.errors import EqlibError


def read_species(path, where, text):
    """The Species that ``text`` means, or a complaint that says where it stands."""
    from eqlib.chem.species import species

    try:
        return species(text)
    except EqlibError as error:
        raise complaint(path, where, f"the species {text!r} cannot be read", str(error).rstrip(".")) from None


def no_key_twice(path, doc):
    """Keys name things, so a key stands once in its list (and a species once among spectra and solids)."""
    for shape, name in (
        ("reaction", "key"),
        ("reagent", "key"),
        ("stock", "key"),
        ("stress", "key"),
        ("spectrum", "species"),
        ("solid", "species"),
    ):
        _once(path, shape, name, doc.get(shape, []))
    for reaction in doc.get("reaction", []):
        _once(path, f"reaction {reaction['key']!r}, constant", "key", reaction["constant"])


def _once(path, where, name, tables):
    seen = set()
    for table in tables:
        if table[name] in seen:
            raise complaint(
                path, f"{where} {table[name]!r}", f"this {name} stands twice", "rename one or take it out"
            )
        seen.add(table[name])


def reactions_balance(path, doc):
    """Every equation is read, its species too, and atoms and charge are the same on both sides."""
    from eqlib.chem.reactions import Reaction

    for entry in doc.get("reaction", []):
        where = f"reaction {entry['key']!r}, equation"
        try:
            reaction = Reaction(entry["equation"], K=1.0, basis=entry.get("basis", "c"))
            balanced = reaction.is_balanced
        except EqlibError as error:
            raise complaint(
                path, where, f"{entry['equation']!r} cannot be read", str(error).rstrip(".")
            ) from None
        if not balanced:
            mend = "make the atoms and the charge the same on both sides; eqlib.balance can find the numbers"
            raise complaint(path, where, f"{entry['equation']!r} does not balance", mend)


def constants_say_one_value(path, doc):
    """A constant gives K or log10_K, not both and not neither; the default is one of those listed."""
    for entry in doc.get("reaction", []):
        where = f"reaction {entry['key']!r}"
        if not entry["constant"]:
            raise complaint(path, f"{where}, constant", "no constant is given", "add [[reaction.constant]]")
        for constant in entry["constant"]:
            here = f"{where}, constant {constant['key']!r}"
            if ("K" in constant) == ("log10_K" in constant):
                what = (
                    "both K and log10_K stand here"
                    if "K" in constant
                    else "neither K nor log10_K stands here"
                )
                raise complaint(path, f"{here}, K", what, "write exactly one of them")
            if abs(constant.get("log10_K", 0)) > 200:
                raise complaint(
                    path, f"{here}, log10_K", f"is {constant['log10_K']}", "write a power of ten under 200"
                )
        keys = [c["key"] for c in entry["constant"]]
        if entry["default"] not in keys:
            what = f"{entry['default']!r} is not one of its constants"
            raise complaint(path, f"{where}, default", what, suggestion(entry["default"], keys))


def hazards_are_known(path, doc):
    """H codes and pictogram words are ones whose meaning can be printed."""
    for entry in doc.get("reagent", []):
        where = f"reagent {entry['key']!r}"
        for code in entry.get("codes", []):
            if code not in STATEMENTS:
                what = f"the hazard code {code!r} is not known"
                raise complaint(path, f"{where}, codes", what, _code_mend(code))
        for word in entry.get("pictograms", []):
            if word not in PICTOGRAMS:
                what = f"the pictogram {word!r} is not known"
                raise complaint(path, f"{where}, pictograms", what, suggestion(word, PICTOGRAMS))
        if entry["state"] == "concentrate" and "molarity" not in entry:
            raise complaint(
                path, f"{where}, molarity", "a concentrate needs its strength", "add molarity = mol/L"
            )


def _code_mend(code):
    closest = near(code.upper().replace("O", "0"), STATEMENTS)  # the letter O is the commonest slip
    mend = f"did you mean {closest!r}? " if closest else ""
    return mend + "Codes look like H314; for one not listed add its statement to eqlib/chem/catalogue/ghs.py"


def stocks_are_neutral(path, doc):
    """A stock's species are in solution and its charges cancel, as in any bottle."""
    for entry in doc.get("stock", []):
        where = f"stock {entry['key']!r}, species"
        if not entry["species"]:
            raise complaint(
                path,
                where,
                "this stock holds no species",
                'add them, such as { "Ag^+" = 0.1, "NO3^-" = 0.1 }',
            )
        charge = total = 0.0
        for name, molar in entry["species"].items():
            one = read_species(path, where, name)
            if one.phase != "aq":
                raise complaint(path, where, f"{name} is not in solution", "name what is dissolved")
            charge += one.charge * molar
            total += abs(one.charge) * molar
        if abs(charge) > 1e-6 * max(total, 1e-12):
            what = f"the charges add up to {charge:+.3g} mol/L"
            raise complaint(path, where, what, "add the missing ion, such as NO3^-, or correct a number")


def spectra_are_possible(path, doc):
    """Bands or a table, not both; wavelengths from 150 to 1500 nm; a table's columns of equal length,
    rising.
    """
    for entry in doc.get("spectrum", []):
        where = f"spectrum {entry['species']!r}"
        read_species(path, where, entry["species"])
        has_table = "nm" in entry or "epsilon" in entry
        if has_table == ("bands" in entry):
            what = (
                "both bands and a table stand here" if has_table else "neither bands nor a table stands here"
            )
            raise complaint(path, where, what, "write bands = [...], or nm = [...] with epsilon = [...]")
        if has_table:
            _table_is_possible(path, where, entry)
        for number, band in enumerate(entry.get("bands", []), 1):
            _wavelength(path, f"{where}, band number {number}, max_nm", band["max_nm"])


def _table_is_possible(path, where, entry):
    nm, epsilon = entry.get("nm", []), entry.get("epsilon", [])
    if len(nm) != len(epsilon) or len(nm) < 2:
        what = f"nm has {len(nm)} numbers and epsilon has {len(epsilon)}"
        raise complaint(path, f"{where}, epsilon", what, "give one epsilon for each wavelength, two or more")
    for value in nm:
        _wavelength(path, f"{where}, nm", value)
    if any(b <= a for a, b in pairwise(nm)):
        raise complaint(
            path, f"{where}, nm", "the wavelengths do not rise", "sort the table from short to long"
        )
    if min(epsilon) < 0:
        raise complaint(
            path, f"{where}, epsilon", f"holds {min(epsilon)}", "write absorptivities that are 0 or more"
        )


def _wavelength(path, where, nm):
    if not 150 <= nm <= 1500:
        raise complaint(path, where, f"is {nm:g}", "write a wavelength in nm between 150 and 1500")


def solids_are_solids(path, doc):
    """A solid's look belongs to a species marked (s) and its colour is #rrggbb."""
    for entry in doc.get("solid", []):
        where = f"solid {entry['species']!r}"
        if read_species(path, where, entry["species"]).phase != "s":
            raise complaint(
                path, f"{where}, species", "is not a solid", "write it with (s), such as AgSCN(s)"
            )
        if not re.fullmatch(r"#[0-9a-fA-F]{6}", entry["hex"]):
            raise complaint(
                path, f"{where}, hex", f"is {entry['hex']!r}", "write it as #rrggbb, such as #f0f0f0"
            )


def has_enough_to_be_a_system(path, doc):
    """A system needs a recipe, waste, PPE and at least one reaction of its own or used from another file."""
    if not doc.get("reaction") and "uses" not in doc:
        raise complaint(
            path, "reaction", "there is no reaction", 'add [[reaction]], or uses = "iron-thiocyanate"'
        )
    for key, mend in (
        ("recipe", "add a [recipe] with vessel, T, steps and portions"),
        ("ppe", 'add ppe = ["eye protection", ...]'),
        ("waste", 'add waste = ["where it goes", ...]'),
    ):
        if key not in doc:
            raise complaint(path, key, "this key is missing", mend)


RULES = (
    no_key_twice,
    reactions_balance,
    constants_say_one_value,
    hazards_are_known,
    stocks_are_neutral,
    spectra_are_possible,
    solids_are_solids,
)


def check_meaning(path, doc, is_system):
    """Run every rule on one file by itself. What it takes from other files is checked when it is built."""
    if is_system:
        has_enough_to_be_a_system(path, doc)
    for rule in RULES:
        rule(path, doc)
