"""ACES Metadata Files: which look, or which CDL, belongs into a show's ACES pipeline.

Academy S-2019-001, schema version 2.0 (namespace urn:ampas:aces:amf:v2.0). Two kinds are written: the look as
a process list, before whatever output transform the show has; and ten numbers in ACEScct, by their id in a
.ccc, before the plain rendering. Files are referred to with their SHA-256. Dates are the scout's, identifiers
come from the content (UUID version 5, RFC 9562), so that the same package is the same to the byte.
"""

from __future__ import annotations

import base64
import hashlib
import uuid
from dataclasses import dataclass
from urllib.parse import quote
from xml.sax.saxutils import escape, quoteattr

from lookdev.lut.clf import clean

NAMESPACE = "urn:ampas:aces:amf:v2.0"
SCHEMA_VERSION = "2.0"
_CDL_NAMESPACE = "urn:ASC:CDL:v1.01"
_SHA256 = "http://www.w3.org/2001/04/xmlenc#sha256"
_OURS = uuid.uuid5(uuid.NAMESPACE_URL, "urn:lookdev:amf")
_CSC = "urn:ampas:aces:transformId:v2.0:CSC.Academy"
TO_CCT, FROM_CCT = f"{_CSC}.ACES_to_ACEScct.a2.v1", f"{_CSC}.ACEScct_to_ACES.a2.v1"


@dataclass(frozen=True)
class Referred:
    """A file of the package: its path from the AMF, with forward slashes, its content, and what it is."""

    path: str
    content: bytes
    words: str

    def element(self) -> str:
        """hash and file, in the schema's order."""
        return f"{_described(self.words)}{self._hash()}{self.file()}"

    def file(self) -> str:
        return f"<aces:file>{escape(quote(self.path, safe='/'))}</aces:file>"

    def _hash(self) -> str:
        digest = base64.b64encode(hashlib.sha256(self.content).digest()).decode()
        return f'<aces:hash algorithm="{_SHA256}">{digest}</aces:hash>'


def look_amf(title: str, date: str, look: Referred) -> str:
    """The look as a process list from ACES2065-1 to the same; the output transform is left to the show.

    ``date`` : of the scout, "2031-03-04".
    """
    inside = f'<aces:lookTransform applied="false">{look.element()}</aces:lookTransform>'
    return _amf(title, date, inside)


def cdl_amf(title: str, date: str, cdl: Referred, identifier: str, plain: Referred | None) -> str:
    """Ten numbers in ACEScct, one correction of a .ccc by its ``identifier``, before the plain rendering."""
    working = (
        "<aces:cdlWorkingSpace>"
        f"<aces:toCdlWorkingSpace><aces:transformId>{TO_CCT}</aces:transformId></aces:toCdlWorkingSpace>"
        f"<aces:fromCdlWorkingSpace><aces:transformId>{FROM_CCT}</aces:transformId></aces:fromCdlWorkingSpace>"
        "</aces:cdlWorkingSpace>"
    )
    inside = (
        f'<aces:lookTransform applied="false">{_described(cdl.words)}{working}'
        f"<cdl:ColorCorrectionRef ref={quoteattr(clean(identifier))}/>{cdl.file()}</aces:lookTransform>"
    )
    if plain is not None:
        inside += f'<aces:outputTransform applied="false">{plain.element()}</aces:outputTransform>'
    return _amf(title, date, inside)


def _amf(title: str, date: str, inside: str) -> str:
    version = "".join(
        f"<aces:{part}Version>{number}</aces:{part}Version>"
        for part, number in (("major", 2), ("minor", 0), ("patch", 0))
    )
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>'
        f'<aces:acesMetadataFile xmlns:aces="{NAMESPACE}" xmlns:cdl="{_CDL_NAMESPACE}"'
        f' version="{SCHEMA_VERSION}">'
        f"<aces:amfInfo>{_info(title, date, f'file {inside}')}</aces:amfInfo>"
        f"<aces:pipeline><aces:pipelineInfo>{_info(title, date, f'pipeline {inside}')}"
        f"<aces:systemVersion>{version}</aces:systemVersion></aces:pipelineInfo>{inside}</aces:pipeline>"
        "</aces:acesMetadataFile>"
    )
    return _indented(text)


def _info(title: str, date: str, content: str) -> str:
    when = f"{date}T00:00:00Z"
    name = uuid.uuid5(_OURS, f"{title}\n{date}\n{content}")
    return (
        f"{_described(title)}<aces:dateTime><aces:creationDateTime>{when}</aces:creationDateTime>"
        f"<aces:modificationDateTime>{when}</aces:modificationDateTime></aces:dateTime>"
        f"<aces:uuid>urn:uuid:{name}</aces:uuid>"
    )


def _described(words: str) -> str:
    return f"<aces:description>{escape(clean(words))}</aces:description>"


def _indented(text: str) -> str:
    from xml.dom import minidom

    return minidom.parseString(text.encode()).toprettyxml(indent="  ", encoding="UTF-8").decode()
