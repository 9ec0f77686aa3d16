"""The words that clinics write over their columns and into their cells, English and German, and what they stand for.

They only ever guess: what was guessed is shown before anything is kept. A word that is not here goes into the mapping.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping

_SMALL = frozenset(("of", "the", "in", "at", "der", "des", "die", "das", "von", "im", "am"))


def folded(text: str) -> str:
    """Return text as words are compared: small letters and digits without accents, single spaces, no small words."""
    plain = text.replace("°", " deg ").replace("%", " percent ").replace("ß", "ss").replace("_", " ")
    letters = unicodedata.normalize("NFKD", plain)
    letters = "".join(one for one in letters if not unicodedata.combining(one)).lower()
    words = re.sub(r"[^a-z0-9]+", " ", letters).split()
    return " ".join(word for word in words if word not in _SMALL or len(words) == 1)


def _by_word(those: Mapping[str, Iterable[str]]) -> dict[str, str]:
    return {folded(word): meant for meant, words in those.items() for word in (meant, *words)}


HEADINGS = _by_word({
    "child": ("id", "child id", "patient", "patient id", "pat id", "pat nr", "patient no", "patient number",
              "pseudonym", "patientennummer", "patienten id", "patientencode", "code", "case", "case id", "kind",
              "study id", "fall", "record id", "subject", "subject id"),
    "date": ("visit date", "date of visit", "visit", "exam date", "examination date", "date of film", "film date",
             "datum", "untersuchungsdatum", "aufnahmedatum", "besuch", "visite"),
    "birth_date": ("date of birth", "birth date", "birthdate", "birthday", "dob", "born", "geburtsdatum", "geb",
                   "geb datum", "geboren", "geburtstag"),
    "sex": ("gender", "geschlecht"),
    "affected_side": ("affected side", "affected leg", "side affected", "affected", "short side", "short leg",
                      "betroffene seite", "betroffenes bein", "kurze seite"),
    "diagnosis": ("diagnose", "dx"),
    "growth_pattern": (),
    "side": ("seite", "leg", "limb", "laterality", "bein"),
    "finding": ("measurement", "measure", "parameter", "variable", "item", "messgrosse", "messgroesse", "befund"),
    "value": ("wert", "messwert", "result", "reading", "ergebnis"),
    "category": (),
    "not_measured": ("why missing", "not measured because"),
    "unit": ("units", "einheit"),
    "method": ("methode", "modality", "modalitat", "measured by", "how measured", "verfahren", "technique", "imaging",
               "aufnahme"),
    "visit_method": (),
    "skeletal_method": ("skeletal age method", "bone age method", "methode knochenalter"),
})  # fmt: skip
"""What a heading stands for, where it is no finding."""

NAMES = frozenset(folded(word) for word in (
    "name", "first name", "last name", "surname", "forename", "given name", "family name", "patient name",
    "vorname", "nachname", "familienname", "address", "adresse", "phone", "telefon", "email",
))  # fmt: skip
"""Headings over what a registry of pseudonyms never takes in."""

FINDINGS = _by_word({
    "femur_length_mm": ("femur", "femoral length", "length femur", "femurlänge", "femurlaenge", "oberschenkel",
                        "oberschenkellänge", "thigh", "thigh bone"),
    "tibia_length_mm": ("tibia", "tibial length", "length tibia", "tibialänge", "tibialaenge", "unterschenkel",
                        "unterschenkellänge", "shin", "shin bone"),
    "leg_length_discrepancy_mm": ("lld", "leg length difference", "limb length discrepancy", "limb length difference",
                                  "beinlängendifferenz", "beinlaengendifferenz", "bld", "discrepancy"),
    "standing_height_mm": ("height", "body height", "stature", "körpergröße", "koerpergroesse", "körperhöhe", "grösse"),
    "weight_kg": ("weight", "gewicht", "körpergewicht", "koerpergewicht"),
    "skeletal_age_years": ("skeletal age", "bone age", "knochenalter", "skelettalter"),
    "neck_shaft_angle_deg": ("nsa", "ccd", "ccd winkel", "neck shaft angle", "schenkelhalswinkel"),
    "acetabular_index_deg": ("acetabular index", "ac winkel", "pfannendachwinkel"),
    "center_edge_angle_deg": ("ce angle", "ce winkel", "center edge angle", "centre edge angle"),
    "migration_percentage": ("migration percentage", "migration index", "migrationsindex"),
    "femoral_version_deg": ("femoral version", "femoral anteversion", "anteversion", "antetorsion"),
    "lateral_distal_femoral_angle_deg": ("ldfa", "mldfa", "lateral distal femoral angle"),
    "medial_proximal_tibial_angle_deg": ("mpta", "medial proximal tibial angle"),
    "mechanical_axis_deviation_mm": ("mad", "mechanical axis deviation"),
    "knee_flexion_deg": ("knee flexion", "kniebeugung"),
    "knee_flexion_contracture_deg": ("knee flexion contracture", "kniebeugekontraktur"),
    "hip_flexion_contracture_deg": ("hip flexion contracture", "hüftbeugekontraktur"),
    "foot_rays": ("rays", "foot rays", "fussstrahlen", "anzahl strahlen"),
})  # fmt: skip
"""Findings by what clinics call them, beside the id and the label that the rules have."""

SIDES = _by_word({
    "left": ("l", "lt", "links", "li", "linke", "linkes"),
    "right": ("r", "rt", "rechts", "re", "rechte", "rechtes"),
    "affected": ("short", "betroffen", "betroffene", "kurz"),
    "other": ("sound", "unaffected", "healthy", "contralateral", "gesund", "gegenseite"),
})  # fmt: skip
BOTH = frozenset(("both", "bilateral", "beide", "beidseits", "bds"))
SEXES = _by_word({
    "girl": ("f", "w", "female", "mädchen", "maedchen", "weiblich"),
    "boy": ("m", "male", "junge", "männlich", "maennlich"),
})  # fmt: skip
METHODS = _by_word({
    "standing_full_length_film": ("standing film", "standing radiograph", "long leg film", "long standing film",
                                  "full length film", "teleroentgenogram", "ganzbeinaufnahme", "ganzbeinstandaufnahme",
                                  "ganzbeinaufnahme stehend"),
    "low_dose_slot_scan": ("slot scan",),
    "supine_long_film": ("scanogram", "supine film", "ganzbeinaufnahme liegend"),
    "ct_scout": ("ct scanogram", "ct topogramm"),
    "ct": ("computertomographie", "computed tomography"),
    "mri": ("mrt", "mr"),
    "ultrasound": ("sonography", "sonographie", "ultraschall"),
    "block_test": ("blocks", "block test", "brettchen", "brettchentest"),
    "tape": ("tape measure", "massband", "maßband"),
    "supine_hip_film": ("hip film", "pelvic film", "beckenübersicht", "beckenuebersicht"),
    "examination": ("clinical", "clinical examination", "exam", "klinisch", "untersuchung"),
    "conversation": ("gespräch", "gespraech"),
})  # fmt: skip
DIAGNOSES = _by_word({
    "congenital_femoral_deficiency": ("cfd", "proximal focal femoral deficiency", "pffd", "angeborener femurdefekt"),
    "congenital_short_femur": ("short femur", "kongenital kurzer femur", "angeboren kurzer femur"),
    "fibular_deficiency": ("fibular hemimelia", "fibulahemimelie", "fibuladefekt"),
    "tibial_deficiency": ("tibial hemimelia", "tibiahemimelie", "tibiadefekt"),
    "acquired_physis_damage": ("growth plate damage", "physeal damage", "wachstumsfugenschaden"),
})  # fmt: skip
YES_NO = {**dict.fromkeys(("yes", "y", "true", "ja", "j", "1", "wahr"), True),
          **dict.fromkeys(("no", "n", "false", "nein", "0", "falsch"), False)}  # fmt: skip
MISSING = _by_word({
    "never_measured": ("never measured", "not measured", "not done", "nicht gemessen"),
    "not_measurable": ("not measurable", "cannot be measured", "nicht messbar"),
    "declined": ("refused", "abgelehnt"),
})  # fmt: skip
"""Cells that say why there is no value."""
NOTHING = frozenset(("n/a", "na", "n.a.", "nd", "n.d.", "k.a.", "k. a.", "k.a", "?", "-", "--", "–", "—", ".", "/"))
"""Cells that say nothing: they are counted and told, and taken as empty."""
SUMS = frozenset(("sum", "sums", "total", "totals", "mean", "average", "median", "summe", "gesamt", "gesamtsumme",
                  "mittelwert", "durchschnitt", "anzahl"))  # fmt: skip
"""What stands in front of a row that sums up those above it."""
MONTHS = {
    "jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6, "jul": 7, "aug": 8, "sep": 9, "oct": 10, "nov": 11,
    "dec": 12, "mae": 3, "mai": 5, "okt": 10, "dez": 12,
}  # fmt: skip
