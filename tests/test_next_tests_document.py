"""docs/next-tests.md is what the catalogue says."""

from tests.never import IN_PROPOSALS, advised
from tests.next_tests_document import DOCUMENT, filled


def test_the_document_is_what_the_program_says():
    """`python -m tests.next_tests_document` writes it anew."""
    text = DOCUMENT.read_text()
    assert filled(text) == text


def test_the_document_advises_nothing_that_is_never_done():
    assert advised(DOCUMENT.read_text(), IN_PROPOSALS[: IN_PROPOSALS.index(r"match|lighter|open flame")]) == []
