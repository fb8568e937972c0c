"""What the technician may say that he did, and the tests with their results, in words for the page."""

from analysis.diagnosis.done import DEEDS
from analysis.diagnosis.steps.catalogue import STEPS

SOURCE = "Common practice, no published source. Local codes and the maker's instructions come first."


def words() -> dict[str, object]:
    """Every button of the panel."""
    return {
        "source": SOURCE,
        "deeds": [{"what": deed.name, "text": deed.text, "caution": deed.caution} for deed in DEEDS.values()],
        "tests": [
            {
                "test": step.name,
                "text": step.text,
                "results": [{"result": one.name, "text": one.text} for one in step.results],
            }
            for step in STEPS.values()
            if step.results
        ],
    }
