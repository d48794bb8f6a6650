"""Words for the hazard codes and pictograms that the catalogue uses.

The H statements are the standard phrases of the Globally Harmonized System (UN GHS, annex 3), from memory; a
supplier's safety data sheet is the authority for the bottle in hand.
"""

CHECK_SDS = "Check your supplier's safety data sheet and your local rules before use."

STATEMENTS = {
    "H270": "may cause or intensify fire (oxidiser)",
    "H271": "may cause fire or explosion (strong oxidiser)",
    "H272": "may intensify fire (oxidiser)",
    "H280": "contains gas under pressure and may explode if heated",
    "H290": "may be corrosive to metals",
    "H225": "highly flammable liquid and vapour",
    "H301": "toxic if swallowed",
    "H302": "harmful if swallowed",
    "H311": "toxic in contact with skin",
    "H312": "harmful in contact with skin",
    "H314": "causes severe skin burns and eye damage",
    "H315": "causes skin irritation",
    "H317": "may cause an allergic skin reaction",
    "H318": "causes serious eye damage",
    "H319": "causes serious eye irritation",
    "H330": "fatal if inhaled",
    "H331": "toxic if inhaled",
    "H332": "harmful if inhaled",
    "H334": "may cause allergy or asthma symptoms or breathing difficulties if inhaled",
    "H335": "may cause respiratory irritation",
    "H336": "may cause drowsiness or dizziness",
    "H340": "may cause genetic defects",
    "H341": "suspected of causing genetic defects",
    "H350": "may cause cancer",
    "H350i": "may cause cancer by inhalation",
    "H351": "suspected of causing cancer",
    "H360": "may damage fertility or the unborn child",
    "H360F": "may damage fertility",
    "H361": "suspected of damaging fertility or the unborn child",
    "H372": "causes damage to organs through prolonged or repeated exposure",
    "H373": "may cause damage to organs through prolonged or repeated exposure",
    "H400": "very toxic to aquatic life",
    "H410": "very toxic to aquatic life with long lasting effects",
    "H411": "toxic to aquatic life with long lasting effects",
    "H412": "harmful to aquatic life with long lasting effects",
    "EUH032": "contact with acids liberates very toxic gas",
    "EUH071": "corrosive to the respiratory tract",
    "EUH210": "safety data sheet available on request",
}

PICTOGRAMS = (
    "corrosion",
    "environment",
    "exclamation mark",
    "flame",
    "flame over circle",
    "gas cylinder",
    "health hazard",
    "skull and crossbones",
)
