"""The columns of a log and the headings that people type for them: in five languages."""

from __future__ import annotations

import difflib
import unicodedata

HEADINGS: dict[str, tuple[str, ...]] = {
    "stills": (
        "still", "file", "files", "filename", "filenames", "file name", "image", "images", "photo", "photos",
        "picture", "pictures", "frame", "frames", "img", "pic", "pics", "number", "numbers", "still no",
        "bild", "bilder", "datei", "dateien", "dateiname", "foto", "fotos", "aufnahme", "aufnahmen",
        "bildnummer",
        "fichier", "fichiers", "nom du fichier", "cliché", "clichés", "prise de vue",
        "archivo", "archivos", "imagen", "imágenes", "fotografía", "fotografías", "toma", "tomas",
        "immagine", "immagini", "fotografia", "fotografie", "scatto", "scatti", "nome file",
    ),
    "location": (
        "loc", "place", "set", "room", "where", "spot",
        "ort", "drehort", "motiv", "raum", "schauplatz", "standort",
        "lieu", "lieux", "endroit", "décor", "emplacement", "pièce", "salle",
        "lugar", "sitio", "localización", "locación", "ubicación", "sala", "emplazamiento",
        "luogo", "posto", "ambiente", "stanza", "posizione", "località",
    ),
    "source": (
        "lamp", "light", "light source", "fixture", "illuminant", "lamp type",
        "quelle", "lichtquelle", "licht", "lampe", "leuchte", "leuchtmittel", "lampentyp",
        "lumière", "source lumineuse", "source de lumière", "éclairage", "projecteur",
        "fuente", "fuente de luz", "luz", "lámpara", "tipo de lámpara",
        "sorgente", "sorgente luminosa", "luce", "lampada", "fonte", "tipo di lampada",
    ),
    "cct_k": (
        "cct", "kelvin", "k", "colour temperature", "color temperature", "colour temp", "color temp", "temp",
        "cct kelvin", "temperature", "tcp",
        "farbtemperatur", "farbtemp", "ähnlichste farbtemperatur",
        "température de couleur", "température couleur", "temp couleur", "température",
        "temperatura de color", "temperatura color", "temp color", "temperatura",
        "temperatura di colore", "temperatura colore", "temp colore",
    ),
    "duv": ("delta uv", "d uv", "δuv", "delta u v", "dv", "delta u'v'", "abweichung duv", "écart duv"),
    "green_points": (
        "+/- green", "plus minus green", "green magenta", "magenta green", "green points", "g m", "gm", "m g",
        "cc", "cc index", "cc value", "cc filter", "tint", "green",
        "+/- grün", "grün magenta", "magenta grün", "tönung", "farbton tönung",
        "vert magenta", "magenta vert", "teinte", "+/- vert", "vert",
        "verde magenta", "magenta verde", "matiz", "+/- verde", "verde", "tinta",
    ),
    "x": ("cie x", "x 1931", "cie 1931 x", "chromaticity x", "x chromaticity"),
    "y": ("cie y", "y 1931", "cie 1931 y", "chromaticity y", "y chromaticity"),
    "lux": (
        "lx", "illuminance", "illuminance lux", "illuminance lx", "e lux", "level", "light level",
        "beleuchtungsstärke", "beleuchtungsstärke lux", "helligkeit", "ev lux",
        "éclairement", "éclairement lux", "eclairement lumineux", "niveau",
        "iluminancia", "iluminancia lux", "iluminación", "nivel",
        "illuminamento", "illuminamento lux", "livello",
    ),
    "fc": (
        "footcandles", "foot candles", "foot candle", "ft c", "ftc", "illuminance fc",
        "illuminance footcandles", "fußkerzen", "pied bougie", "pieds bougies", "pie candela", "pies candela",
        "piede candela", "piedi candela",
    ),
    "camera_balance_k": (
        "camera balance", "balance", "white balance", "wb", "camera wb", "camera white balance",
        "camera kelvin", "camera k", "balance k", "wb k", "camera", "cam",
        "weißabgleich", "weissabgleich", "kamera", "kamera wb", "kameraabgleich", "wa",
        "balance des blancs", "balance blancs", "bdb", "caméra", "appareil",
        "balance de blancos", "balance blancos", "cámara",
        "bilanciamento del bianco", "bilanciamento bianco", "bilanciamento", "bil bianco", "fotocamera",
    ),
    "spectrum": (
        "spd", "spectrum file", "spectral", "spectral file", "sd", "spektrum", "spectre", "espectro",
        "spettro",
    ),
    "grey": (
        "gray", "grey patch", "gray patch", "grey card", "gray card", "patch", "grey box", "gray box",
        "grau", "graukarte", "graufeld", "gris", "carte grise", "charte grise", "carta gris", "grigio",
        "cartoncino grigio",
    ),
    "note": (
        "notes", "remark", "remarks", "comment", "comments", "memo",
        "notiz", "notizen", "bemerkung", "bemerkungen", "anmerkung", "anmerkungen", "kommentar",
        "remarque", "remarques", "commentaire", "commentaires", "observations",
        "nota", "notas", "observación", "observaciones", "comentario", "comentarios",
        "osservazioni", "commento", "commenti", "appunti",
    ),
    "scene": (
        "scenes", "scene shot", "scene and shot", "slate", "szene", "szenen", "scène", "scènes", "escena",
        "escenas", "scena",
    ),
    "time": (
        "hour", "clock", "time of day", "local time", "when", "uhrzeit", "zeit", "stunde", "heure", "hora",
        "ora",
        "orario",
    ),
    "date": ("day", "datum", "tag", "jour", "fecha", "día", "data", "giorno"),
    "role": (
        "use", "key fill", "part", "function", "rolle", "funktion", "verwendung", "rôle", "fonction", "usage",
        "función", "papel", "uso", "ruolo", "funzione",
    ),
}  # fmt: skip
"""Column name to other headings that are understood. Case, spaces, punctuation, accents and a unit in
brackets do not matter: ``CCT (K)``, ``cct_k`` and ``Cct k`` are one heading."""


def _key(heading: str) -> str:
    text = unicodedata.normalize("NFKD", heading.casefold())
    return "".join(c for c in text if c.isalnum() and not unicodedata.combining(c))


_BY_KEY = {_key(word): name for name, words in HEADINGS.items() for word in (name, *words)}


def column_name(heading: str) -> str | None:
    """The column that a typed heading means, or None.

    >>> column_name(" Colour Temperature (K)"), column_name("Foot-Candles"), column_name("wether")
    ('cct_k', 'fc', None)
    """
    key = _key(heading)
    if key in _BY_KEY:
        return _BY_KEY[key]
    return _BY_KEY.get(_key(heading.split("(")[0].split("[")[0])) if key else None


def nearest_column(heading: str) -> str | None:
    """The known column whose heading is spelled most like ``heading``; None if none is near.

    >>> nearest_column("kelvn"), nearest_column("weather")
    ('cct_k', None)
    """
    near = difflib.get_close_matches(_key(heading), list(_BY_KEY), n=1, cutoff=0.7)
    return _BY_KEY[near[0]] if near else None
