"""Where a number or a word comes from, and how sure we are of it.

Docstrings and tables cite a key of `SOURCES`. A status speaks of this project's own look at the document: ``read``
in its own text, ``second-hand`` in a copy or a quotation, ``from memory`` not seen while this was written,
``recomputed`` here from something else, ``common practice`` what hands say and nobody has published. What is only
*common practice* is never a number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["SOURCES", "STATUSES", "Source", "source"]

STATUSES = ("read", "second-hand", "from memory", "recomputed", "common practice")


@dataclass(frozen=True)
class Source:
    """One document: key, title, how it was seen (one of `STATUSES`), and what for."""

    key: str
    document: str
    status: str
    what: str = ""


SOURCES: Mapping[str, Source] = {
    entry.key: entry
    for entry in (
        Source("burnlog", "this project's own word or choice", "common practice", "plain words made for the record"),
        Source(
            "us-navy-cutting-manual",
            "U.S. Navy Underwater Cutting & Welding Manual, S0300-BB-MAN-010 / 0910-LP-111-3300, NAVSEA, 1 Apr 1989, "
            "Change A 15 Sep 1995, Change B 1 Jun 2002 (public release)",
            "second-hand",
            "rod families, defects, cautions; its numeric tables were not seen and none is used",
        ),
        Source(
            "uct-techniques",
            "UCT Conventional Inspection and Repair Techniques, U.S. Navy, sec. 2.4.1 thermal cutting",
            "second-hand",
            "rod sizes, power while burning changes the length per rod",
        ),
        Source(
            "imca-sf-05-04",
            "IMCA Safety Flash 05/04, 1 Jun 2004",
            "second-hand",
            "a rod that would not light, tapped again with oxygen on",
        ),
        Source(
            "imca-near-miss",
            "IMCA, Near-miss: serious subsea burning incident",
            "second-hand",
            "venting did not clear a many-walled structure",
        ),
        Source(
            "hermans-2021",
            "Hermans 2021, on explosions while cutting under water (contents list); Underwater Magazine, May 2022",
            "second-hand",
            "pops and bangs; hydrogen and oxygen burn over a very wide range",
        ),
        Source(
            "diver-page",
            "a working diver's page on burning rods (Geocities)",
            "second-hand",
            "fire up the rod into the torch; rod stuck in the collet",
        ),
        Source(
            "riversprojects",
            "riversprojects.co.uk, account of a winter river job",
            "second-hand",
            "regulators froze",
        ),
        Source(
            "osha-1910-422",
            "29 CFR 1910.422, Commercial diving operations: procedures during dive",
            "read",
            "switch, insulation, flushing of closed spaces",
        ),
        Source(
            "news-tribune",
            "The News Tribune (Tacoma), article25856254, on the Tacoma Narrows bridge job",
            "second-hand",
            "8 to 10 in of 1/2 in steel to a rod in the most accessible places; about 40 s a rod",
        ),
        Source(
            "usn-fsw",
            "US Navy Diving Manual, definition of the foot of sea water (64 lb/ft3), as unit pages quote it",
            "second-hand",
            "1 fsw = 3064.3 Pa",
        ),
        Source("msw", "metre of sea water as a unit of pressure", "second-hand", "1 msw = 10 kPa exactly"),
        Source(
            "si-brochure",
            "BIPM, The International System of Units, 9th edition 2019; CGPM 1901 for standard gravity; "
            "international yard and pound agreement 1959",
            "from memory",
            "g, inch, pound; the psi follows",
        ),
        Source(
            "tm-55-1915-200",
            "TM 55-1915-200-SDC, US Army damage control",
            "read",
            "0.444 psi to a foot of sea water",
        ),
        Source(
            "plate-by-weight",
            "steel plate ordered by weight, 40.8 lb/ft2 to the inch",
            "from memory",
            "`20.4 lb plate` is 1/2 in",
        ),
        Source(
            "schmidt-wagner-1985",
            "Schmidt and Wagner, A new form of the equation of state for pure substances, applied to oxygen, "
            "Fluid Phase Equilibria 19 (1985) 175-200; also Stewart et al., J. Phys. Chem. Ref. Data 20 (1991)",
            "second-hand",
            "density of oxygen; coefficients read from CoolProp",
        ),
        Source(
            "coolprop",
            "CoolProp 8.0.0, fluid file Oxygen (open source)",
            "read",
            "coefficients of the equation, and the check values",
        ),
        Source(
            "iupac-atomic-weights",
            "IUPAC standard atomic weights: Fe 55.845, O 15.999",
            "from memory",
            "oxygen that burns a mass of iron",
        ),
        Source(
            "cylinder-244",
            "weld-it-right.com, and a general oxy-fuel handbook: large cylinder about 244 ft3 at 2200 psi, 70 F",
            "second-hand",
            "check values only; a bank's contents are typed by the user",
        ),
        Source(
            "astm-a6",
            "ASTM A6/A6M, bearing-pile dimensions, as two public tables print them",
            "second-hand",
            "HP sections",
        ),
        Source("en-10365", "EN 10365:2017, hot rolled channels, I and H sections", "from memory", "HE and UBP"),
        Source(
            "asme-b36-10m",
            "ASME B36.10M, welded and seamless wrought steel pipe",
            "second-hand",
            "NPS 14 and larger have OD = NPS, NPS 12 has 12.750 in (read in a copy); smaller ones from memory",
        ),
        Source(
            "en-10248",
            "EN 10248 and EN 10249, steel sheet piling",
            "from memory",
            "system width from centre to centre of interlock",
        ),
        Source(
            "sheet-pile-page",
            "a producer's public pages on Z and U sheets: coating area to a metre of wall",
            "second-hand",
            "check values only",
        ),
        Source(
            "dlmf-19",
            "NIST Digital Library of Mathematical Functions, chapter 19, Elliptic Integrals",
            "from memory",
            "perimeter of an ellipse by the arithmetic-geometric mean",
        ),
    )
}
"""Sources by key."""


def source(key: str) -> Source:
    """The document a key stands for.

    Raises
    ------
    KeyError
        No such key: a citation in this package is wrong.

    Examples
    --------
    >>> source("usn-fsw").status
    'second-hand'
    """
    return SOURCES[key]
