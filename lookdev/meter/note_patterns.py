"""The patterns of a note: names of stills, chromaticities, kelvin, lux, times, gels, roles, and plain facts.

Each is for a line whose numbers are already written with a decimal point. What a word means is common
practice among people who keep logs; the grammar is our own and stands in README.
"""

from __future__ import annotations

import re

from lookdev.meter import cells

RUN = re.compile(r"(?<![\w.,])(?:\d[\d.,']*\d|\d|[.,]\d+)(?!\d)")
PAIR = re.compile(r"(\d?[.,]\d{2,5}),(\d?[.,]\d{2,5})")
NUM = r"(?:\d+(?:\.\d+)?|\.\d+)"
ABOUT = (
    r"(?P<about>[~≈±]|\b(?:ca|circa|approx|about|around|env|environ|etwa|ungefähr|rund|unos|aprox)\b\.?)?\s*"
)
UNIT = r"(?:k\s?lx|k\s?lux|lux|lx|fc|ft-?c|foot-?candles?)"
SUFFIX = r"\.(?:jpe?g|heic|heif|avif|png|tiff?|dng|exr|webp|hif|arw|cr[23]|nef|raf|orf|rw2|mov|mp4|m4v)\b"
MOMENT = r"(?:@(?:\d{1,2}:)?\d{1,3}:\d{2}(?:\.\d{1,3})?(?![\d:])|@\d{1,5}s\b)?"
NAMES = re.compile(
    r"(?<![\w./])(?:"
    rf"[\w./\\-]*\w{SUFFIX}{MOMENT}"
    rf"|(?:\w+/)*(?:IMG|DSCF|DSCN|DSC|PXL|DJI|GOPR|MG|MVI|CIMG|SAM|PANO)[ _-]?E?\d{{3,8}}(?:_\d+)*{MOMENT}"
    r"|(?:\w+/)*(?=\w*_)(?=\w*\d{2})[^\W_]+(?:_[^\W_]+)+"
    r"|[\w./?-]*[\w_]\*[\w.*?-]*|\*[\w.*?-]*[\w]"
    r"|(?=[\w/]*[\d_])(?=\w*[A-Za-z])\w+/(?=\w*[A-Za-z])[\w/]+"
    r")",
    re.IGNORECASE,
)
NUMBERED = re.compile(
    r"(?:(?<!\w)(?:stills?|pics?|photos?|fotos?|bild(?:er)?|frames?|images?|imgs?|files?|clichés?|vues?"
    r"|imagen(?:es)?|imágenes|immagin[ei]|scatt[oi])\.?\s*(?:nrs?|nos?|n°|nummer|numbers?)?\.?\s*[:#]?\s*|#\s?)"
    r"(?P<n>\d{2,6})(?![\d.])",
    re.IGNORECASE,
)
TO = re.compile(
    r"\s?(?:-|\.\.+|to|bis|al|à)\s?(?P<name>[A-Za-z]{2,5}_?)?(?P<n>\d{1,6})(?![\w.])", re.IGNORECASE
)
MORE = re.compile(
    r"\s?(?:[,+&/]|and|und|et|y|e)\s?(?P<n>\d{2,6})(?![\w.:]|\s*(?:°|k\b|kelvin|lx|lux|fc))", re.IGNORECASE
)
BARE_RANGE = re.compile(
    r"(?<![\w.~/-])(?P<a>\d{3,6})\s?-\s?(?P<b>\d{2,6})(?![\w.-]|\s*(?:°|k\b|kelvin|lx|lux|fc|ft))",
    re.IGNORECASE,
)
XY_LABEL = re.compile(
    rf"(?<!\w)(?:cie\s*(?:1931\s*)?)?(?:xy|x\s?[,/]\s?y)\s*[:=]?\s*(?P<x>{NUM})[\s,;/|]+(?P<y>{NUM})",
    re.IGNORECASE,
)
XY_EACH = re.compile(
    rf"(?<!\w)c?x\s*[:=]?\s*(?P<x>{NUM})[\s,;/|]*(?:and\s)?c?y\s*[:=]?\s*(?P<y>{NUM})", re.IGNORECASE
)
XY_PAIR = re.compile(r"(?<![\w.])(?P<x>0?\.\d{2,5})\s*[/,;|\s]\s*(?P<y>0?\.\d{2,5})(?![\d.])")
DUV = re.compile(
    rf"(?<!\w)(?:d\.?\s?uv|dv|Δ\s?uv|delta\s?uv)\s*[:=]?\s*(?P<v>[+-]?\s?{NUM})(?P<maybe>\?)?", re.IGNORECASE
)
CAMERA_WORDS = sorted(
    {*cells.AUTOMATIC, *cells.OF_AUTOMATIC, *cells.BALANCE_PRESETS_K, "awb"}, key=len, reverse=True
)
WORDS = "|".join(re.escape(w) for w in CAMERA_WORDS)
CAMERA = re.compile(
    r"(?<!\w)(?:cam(?:era)?|kamera|caméra|appareil|cámara|fotocamera|wb|w/b|wei(?:ss|ß)abgleich|wa|bdb"
    r"|white\s?balance|balance(?:\sdes\sblancs|\sde\sblancos|\sblancs)?|bilanciamento(?:\sdel\sbianco)?)"
    r"(?:\s*(?:wb|balance|white\sbalance|set|was|is|on|at|to|auf|sur|en|su|[:=@]))*\s*"
    rf"(?P<v>\d[\d.]*\s?k?(?:elvin)?\b|(?:{WORDS})(?!\w))",
    re.IGNORECASE,
)
AUTO = re.compile(r"(?<!\w)(?:awb|auto(?:matic)?[\s-]?(?:wb|white\s?balance|balance))(?!\w)", re.IGNORECASE)
DATE = re.compile(
    r"(?<![\w.])(?:\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d{2})|\d{1,2}\.\d{1,2}\.(?!\d)"
    rf"|\d{{1,2}}(?:\.|st|nd|rd|th|er)?\s(?:de\s)?{cells.MONTH_WORD}\.?,?(?:\s(?:de\s)?\d{{4}})?"
    rf"|{cells.MONTH_WORD}\.?\s\d{{1,2}}(?:st|nd|rd|th)?,?(?:\s\d{{4}})?)(?!\w)",
    re.IGNORECASE,
)
HALF = r"(?P<half>[ap]\.?\s?m\b\.?)"
AT = r"(?:(?<!\w)(?:@|at|um|alle|ore|à|a\slas|kl|time|uhrzeit|zeit|heure|hora)\.?\s*[:=]?\s*)"
TIMES = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"{AT}?(?<![\d.:/])(?P<h>[01]?\d|2[0-4])\s?[:h]\s?(?P<m>[0-5]\d)(?::[0-5]\d)?(?!\d)\s*"
        rf"(?:{HALF}|uhr\b|hrs?\b|h\b)?",
        rf"{AT}?(?<![\d.:/])(?P<h>\d{{1,2}})\.(?P<m>[0-5]\d)\s*(?:{HALF}|uhr\b|hrs?\b|h\b)",
        rf"{AT}?(?<![\d.:/])(?P<h>[01]\d|2[0-3])(?P<m>[0-5]\d)\s*(?:uhr\b|hrs?\b|h\b)",
        rf"{AT}?(?<![\d.:/-])(?P<h>\d{{1,2}})\s*(?:{HALF}|uhr\b|h\b)",
        rf"{AT}(?P<h>[01]?\d|2[0-3])[.:]?(?P<m>[0-5]\d)(?![\d.]|\s*(?:k\b|lx|lux|fc))",
    )
)
BARE_TIME = re.compile(r"(?<![\d.:/])(?P<h>[01]?\d|2[0-3])\.(?P<m>[0-5]\d)(?![\d.%°]|\s?[A-Za-z])")
LIGHT = re.compile(
    rf"{ABOUT}(?<![\w.])(?<!\d,)(?P<v>{NUM})(?:\s?-\s?(?P<to>{NUM}))?\s*(?P<unit>{UNIT})(?![a-z])\.?(?P<maybe>\?)?",
    re.IGNORECASE,
)
LIGHT_LABEL = re.compile(
    rf"(?<!\w)(?P<unit>lux|lx|fc|ft-?c|foot-?candles?|illuminance|e)\s*[:=]?\s*{ABOUT}(?P<v>{NUM})"
    r"(?![\w.:/]|\s*(?:k\b|kelvin))(?P<maybe>\?)?",
    re.IGNORECASE,
)
GEL = re.compile(
    r"(?:(?P<part>full|half|quarter|eighth|1/1|1/2|1/4|1/8)\s*)?(?:(?<!\w)(?P<word>plus|minus)|(?P<sign>[+-]))"
    r"[\s-]?gr(?:ee|ü)n(?!\w)",
    re.IGNORECASE,
)
PARTS = {"half": 0.5, "1/2": 0.5, "quarter": 0.25, "1/4": 0.25, "eighth": 0.125, "1/8": 0.125}
SIDE = r"(?:mag(?:enta)?|green|gr[üu]n|vert|verde"
"""Left open: what it is put into adds the letters and closes it."""
POINTS = (
    re.compile(
        rf"(?<![\w.])(?:cc\s?)?[+-]\s?\d{{1,2}}(?:\.\d+)?\s?"
        rf"(?:cc\s?|pts?\s|points?\s(?:of\s)?)?{SIDE}|m|g)(?!\w)",
        re.IGNORECASE,
    ),
    re.compile(
        rf"(?<![\w.])(?:cc\s?)?\d{{1,2}}(?:\.\d+)?\s?"
        rf"(?:cc\s?|[Pp]ts?\s|[Pp]oints?\s(?:of\s)?|[Pp]unkte?\s)?(?:(?i:{SIDE}))|[MG])(?!\w)"
    ),
    re.compile(r"(?<![\w.])(?:cc\s?)?[+-]?[MG]\s?[+-]?\d{1,2}(?:\.\d+)?(?![\w.])"),
)
TUBES = re.compile(r"tube|fluo|röhre|roehre|néon|neon|tubo", re.IGNORECASE)
STOP = re.compile(
    r"(?<!\w)[TF]\s?/?\s?(?P<n>\d{1,2}(?:\.\d)?)(?:\s?\+?\s?[123]/[234])?(?![\w.])", re.IGNORECASE
)
FACTS = re.compile(
    r"(?<![\w.])(?:1/\d{2,5}(?:\s?s(?:ec)?\b)?|(?:ISO|EI|ASA)\s?:?\s?\d{2,6}|\d+(?:\.\d+)?\s?(?:fps|mm)\b"
    r"|\d{2,3}(?:\.\d+)?\s?(?:°|deg\b)(?!\s?k)|EV\s?[+-]?\d+(?:\.\d+)?"
    r"|[+-]?\d+(?:\.\d+)?\s?(?:EV|stops?|Blenden?)\b"
    r"|\d+(?:\.\d+)?\s?(?:m|cm|ft|feet|met(?:er|re|ri|ros)s?)(?!\w)|\d{2,3}\s?Hz"
    r"|(?:CRI|Ra|R9|TLCI|SSI)\s?[:=]?\s?\d{1,3}|\d{1,2}:1|ND\s?\.?\d+(?:\.\d+)?)(?![\w])",
    re.IGNORECASE,
)
WATTS = re.compile(r"(?<![\w.])(?:\d+\s?x\s?)?\d+(?:\.\d+)?\s?k?W(?:att)?(?!\w)", re.IGNORECASE)
LABEL = r"(?:cct|tcp|tc|kelvin|farbtemp\w*|colou?r\stemp(?:erature)?|temp(?:erature?)?\.?(?:\sde\scouleur)?)"
CCTS = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"(?<!\w){LABEL}\s*[:=]?\s*{ABOUT}(?P<v>\d{{4,5}}|[1-9]\d?\.\d{{1,3}}(?:\s?k)?)(?!\d)\s?"
        r"(?:°?\s?k(?:elvin)?\b)?(?P<maybe>\?)?",
        rf"{ABOUT}(?<![\w.])(?P<v>\d{{4,5}})(?:\s?-\s?(?P<to>\d{{4,5}}))?\s?°?\s?k(?:elvin)?(?![a-z])"
        r"(?P<maybe>\?)?",
        rf"{ABOUT}(?<![\w.])(?P<v>[1-9]\d?\.\d{{1,3}})\s?k(?:k|elvin)?(?![a-z])(?P<maybe>\?)?",
        rf"{ABOUT}(?<![\w.])(?P<v>[1-9]\d?\.\d{{3}})(?![\w.])(?P<maybe>\?)?",
        rf"(?<!\w)k\s?{ABOUT}(?P<v>\d{{4,5}})(?!\d)(?P<maybe>\?)?",
    )
)
BARE_CCT = re.compile(
    rf"{ABOUT}(?<![\w.:/-])(?P<v>\d{{4,5}})(?:\s?-\s?(?P<to>\d{{4,5}}))?(?![\w.:/%])(?P<maybe>\?)?",
    re.IGNORECASE,
)
KILO = re.compile(rf"{ABOUT}(?<![\w.])(?P<v>[1-9]\d?)\s?k(?!\w)(?P<maybe>\?)?", re.IGNORECASE)
ROLE = re.compile(
    r"(?<!\w)(?P<v>key(?:\s?light)?|fill(?:\s?light)?|führung(?:slicht)?|aufhell(?:ung|er)|relleno|riempimento)(?!\w)",
    re.IGNORECASE,
)
OPEN_LIGHT = re.compile(rf"(?<![\w.])[1-9]\d{{0,2}},\d{{3}}\s*{UNIT}?(?!\w)", re.IGNORECASE)
