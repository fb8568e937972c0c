"""What no text of the program may advise, in words."""

import re
from collections.abc import Sequence

FORBIDDEN = [
    r"jumper",
    r"bypass(?:es|ed|ing)? (?:the|a|any|this) ",
    r"tap(?:e|es|ed|ing) (?:the|a) door",
    r"door switch (?:is )?taped",
    r"drill",
    r"hold(?:s|ing)? the (?:pressure )?switch",
    r"blow(?:s|ing)? into",
    r"lower-set|adjustable",
    r"bridge (?:it|the|a)\b",
    r"with a flame",
    r"feed (?:the|a) ",
    r"to see whether it (?:lights|opens)",
    r"raise manifold pressure",
]
"""What nobody is told to do, and may stand only behind a "never" in its own clause."""

IN_PROPOSALS = [
    *FORBIDDEN,
    r"\breset",
    r"\btap(?:e|ed|ing)\b",
    r"(?:fire|light|start) (?:it )?(?:again|once more)",
    r"try (?:it )?(?:again|once more)",
    r"(?:cover|vent|trap|door|panel)s? off (?:and|while|when) (?:it )?(?:fires|burns|firing|the burners)",
    r"(?:higher|raise|lower|change)[^.;]{0,20} (?:manifold|set-?point) for (?:the )?altitude",
    r"match|lighter|open flame",
    r"no breach",
    r"(?:clears|cleared) (?:the|an|any|of)\b",
    r"exchanger is (?:good|sound|tight|whole|fine)",
    r"switch with (?:a|another) (?:lower|other)",
    r"short(?:s|ed|ing)? (?:the|out|across)",
    r"defeat|override|force(?:s|d)? (?:the|it)",
    r"suck",
    r"CO (?:is )?(?:fine|good|ok)\b",
]
"""The same for what is proposed to somebody who stands before a unit."""


def advised(text: str, forbidden: Sequence[str] = FORBIDDEN) -> list[str]:
    """Clauses that have a forbidden phrase and no "never" before it."""
    clauses = re.split(r"[.;:!?](?=\s)|\n(?=\s*(?:-|\d+\.|#|\|))|\n\n", text)
    flat = [" ".join(clause.split()) for clause in clauses]
    found = ((clause, re.search(phrase, clause, re.IGNORECASE)) for clause in flat for phrase in forbidden)
    return [
        clause for clause, hit in found if hit and not re.search(r"\bnever\b", clause[: hit.start()], re.IGNORECASE)
    ]
