"""XML from outside: no document type, no entities, no references to other places, no more than a stated size."""

from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

import defusedxml.ElementTree
from defusedxml.common import DefusedXmlException

from proofstrip.errors import DataError

# A task file with years of tasks has a few megabytes (common practice, no source).
MAX_BYTES = 200_000_000


def parse_xml(path: Path) -> Element:
    """Read an XML file whole; whatever an attacker could use is refused.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    xml.etree.ElementTree.Element
        The root.

    Raises
    ------
    DataError
        When it is too large, is no XML, or declares a document type or entities.
    """
    size = path.stat().st_size
    if size > MAX_BYTES:
        raise DataError(f"{path.name}: the file has {size:,} bytes; at most {MAX_BYTES:,} are read as XML.")
    try:
        root = defusedxml.ElementTree.parse(path, forbid_dtd=True).getroot()
    except DefusedXmlException as fault:
        raise DataError(
            f"{path.name}: the file declares a document type or entities ({type(fault).__name__}), which files of a "
            "farm do not need and attackers use; take the declaration out, or export the file again."
        ) from fault
    except (ParseError, ValueError, LookupError) as fault:
        said = str(fault).splitlines()[0]
        raise DataError(f"{path.name}: cannot be read as XML ({said}); is it complete? Export it again.") from fault
    if root is None:
        raise DataError(f"{path.name}: the XML has no root element; export it again.")
    return root
