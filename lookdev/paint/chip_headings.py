"""Headings of a deck as people type them, in English, German, French, Spanish and Italian."""

from __future__ import annotations

import difflib
import re
import unicodedata

COLUMNS: dict[str, tuple[str, ...]] = {
    "name": (
        "chip", "colour", "color", "colour name", "color name", "paint", "sample", "title",
        "farbe", "farbname", "farbton", "bezeichnung", "anstrich", "muster",
        "nom", "couleur", "nom de la couleur", "peinture", "teinte", "échantillon",
        "nombre", "nombre del color", "pintura", "muestra", "colore", "nome", "nome colore", "vernice",
        "pittura", "campione", "tinta",
    ),
    "code": (
        "number", "no", "nr", "id", "ref", "reference", "colour code", "color code", "article",
        "nummer", "farbnummer", "farbcode", "artikel", "artikelnummer", "bestellnummer",
        "numéro", "référence", "code couleur", "número", "código", "referencia", "código de color",
        "numero", "codice", "codice colore", "riferimento", "articolo",
    ),
    "munsell": ("notation", "munsell notation", "hvc", "munsell code"),
    "hex": ("srgb", "rgb hex", "srgb hex", "html", "web", "rgb", "hexadecimal", "hexcode", "hex code"),
    "L": ("l*", "cie l", "lab l", "lightness", "helligkeit", "clarté", "claridad", "luminosità", "cielab l"),
    "a": ("a*", "cie a", "lab a", "cielab a"),
    "b": ("b*", "cie b", "lab b", "cielab b"),
    "C": ("c*", "c*ab", "cie c", "chroma", "lch c", "buntheit", "croma", "chroma c"),
    "h": ("h°", "hab", "h ab", "cie h", "hue", "hue angle", "lch h", "bunttonwinkel", "buntton",
          "angle de teinte", "tono", "ángulo de tono", "tonalità", "angolo di tinta"),
    "red": ("srgb r", "rot", "rouge", "rojo", "rosso", "r"),
    "green": ("srgb g", "grün", "vert", "verde", "g"),
    "blue": ("srgb b", "blau", "bleu", "azul", "blu"),
    "illuminant": ("light", "illum", "lab illuminant", "lichtart", "normlichtart", "illuminante",
                   "iluminante"),
    "observer": (
        "obs", "degrees", "lab observer", "beobachter", "normalbeobachter", "observateur", "observador",
        "osservatore",
    ),
    "spectrum": ("reflectance file", "spectrum file", "spectral file", "spd", "spektrum", "spectre",
                 "espectro", "spettro"),
    "note": (
        "notes", "remark", "remarks", "comment", "family", "finish", "range",
        "notiz", "bemerkung", "bemerkungen", "glanz", "remarque", "remarques", "commentaire", "finition",
        "nota", "notas", "comentario", "acabado", "osservazioni", "finitura", "lrv",
        "light reflectance value", "hbw", "hellbezugswert", "supplier", "lieferant", "fournisseur",
        "proveedor", "fornitore",
        "price", "preis", "prix", "precio", "prezzo",
    ),
}  # fmt: skip

_WAVELENGTH = re.compile(
    r"(?:r|nm|spectral|refl|reflectance|%r)?[ _]*(\d{3,4})(?:[.,]0+)?[ _]*(?:nm|%)?", re.IGNORECASE
)
_NM = ("nm", "wavelength", "wavelength nm", "wavelength (nm", "lambda", "λ", "wellenlänge", "wellenlänge nm",
       "longueur d'onde", "longitud de onda", "lunghezza d'onda")  # fmt: skip


def clean(text: str) -> str:
    """A heading without marks, underscores and doubled blanks."""
    return " ".join(text.replace("_", " ").split()).strip("\ufeff ")


def _folded(text: str) -> str:
    plain = unicodedata.normalize("NFD", text.casefold().rstrip(".:"))
    return "".join(c for c in plain if not unicodedata.combining(c))


_KNOWN = {_folded(word): name for name, words in COLUMNS.items() for word in (name, *words) if len(word) > 1}


def is_nm(text: str) -> bool:
    """Whether a heading says that its column holds wavelengths."""
    return clean(text).casefold().strip("()[] ") in _NM


def column(text: str) -> str | None:
    """The column that a heading means; None for one not known.

    Single letters are L, a, b (CIELAB), C and h; ``b`` beside ``R`` and ``G`` is left to the reader of rows.

    >>> column("Farbname"), column("código"), column("h°"), column("L*")
    ('name', 'code', 'h', 'L')
    """
    plain = clean(text)
    if len(plain) == 1:
        return {"l": "L", "a": "a", "b": "b", "c": "C", "h": "h", "r": "red", "g": "green"}.get(
            plain.casefold()
        )
    return _KNOWN.get(_folded(plain))


def wavelength_nm(text: str) -> float | None:
    """The wavelength that a heading names, 200 to 2500 nm."""
    match = _WAVELENGTH.fullmatch(clean(text))
    nm = float(match[1]) if match else 0.0
    return nm if 200 <= nm <= 2500 else None


def nearest(text: str) -> str | None:
    """The column whose heading is nearest in spelling."""
    near = difflib.get_close_matches(_folded(clean(text)), list(_KNOWN), n=1, cutoff=0.75)
    return _KNOWN[near[0]] if near else None
