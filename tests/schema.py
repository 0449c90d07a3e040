"""What the MusicXML 4.0 schema says against a score, for the tests.

The schema is the one in the PyPI package ``musicxml`` (a test dependency). It imports two others by
address; both are answered from here by small stubs, so nothing is fetched.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from lxml import etree

XML_STUB = b"""<?xml version="1.0" encoding="UTF-8"?>
<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/XML/1998/namespace">
  <xs:attribute name="lang" type="xs:language"/>
  <xs:attribute name="space">
    <xs:simpleType>
      <xs:restriction base="xs:NCName">
        <xs:enumeration value="default"/>
        <xs:enumeration value="preserve"/>
      </xs:restriction>
    </xs:simpleType>
  </xs:attribute>
</xs:schema>
"""
XLINK_STUB = b"""<?xml version="1.0" encoding="UTF-8"?>
<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/1999/xlink">
  <xs:attribute name="href" type="xs:anyURI"/>
  <xs:attribute name="type" type="xs:string"/>
  <xs:attribute name="role" type="xs:token"/>
  <xs:attribute name="title" type="xs:token"/>
  <xs:attribute name="show" type="xs:token"/>
  <xs:attribute name="actuate" type="xs:token"/>
</xs:schema>
"""
STUBS = {"xml.xsd": XML_STUB, "xlink.xsd": XLINK_STUB}


class _Stubs(etree.Resolver):
    """Answers the schema's two imports; any other address is an error."""

    def resolve(  # type: ignore[override]  # lxml passes a context that its stubs leave out
        self, system_url: str | None, public_id: str | None, context: Any
    ) -> Any:
        if system_url is None or system_url.startswith("file:") or Path(system_url).is_file():
            return None
        try:
            return self.resolve_string(STUBS[system_url.rsplit("/", 1)[-1]], context, base_url=system_url)
        except KeyError:
            raise LookupError(f"the schema asks for {system_url}, which has no stub here") from None


@cache
def schema() -> etree.XMLSchema:
    """The MusicXML 4.0 schema, read once."""
    package = find_spec("musicxml")
    if package is None or package.origin is None:
        raise ModuleNotFoundError("the tests need the package musicxml for its schema; pip install musicxml")
    path = Path(package.origin).parent / "generate_classes" / "musicxml_4_0.xsd"
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Stubs())
    return etree.XMLSchema(etree.fromstring(path.read_bytes(), parser, base_url="musicxml_4_0.xsd"))


def complaints(data: bytes) -> list[str]:
    """What the schema says against a MusicXML document, one line each; empty if it is valid.

    Raises lxml's XMLSyntaxError if `data` is not well-formed. A document type is neither fetched nor used.
    """
    parser = etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False)
    root = etree.fromstring(data, parser)
    rules = schema()
    if rules.validate(root):
        return []
    entries: Any = rules.error_log
    return [f"line {e.line}: {e.message}" for e in entries]
