"""What is looked at before a test and before leaving, and what is opened for a test and has to be put back.

Lists and cautions: common practice, no published source. Local codes and the maker's instructions come first.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """One line of a list."""

    item: str
    """Stands in recordings; never changes."""
    text: str
    instead: bool = False
    """What is done where the list cannot be; not counted with it."""


@dataclass(frozen=True, slots=True)
class Checklist:
    """Lines to be ticked, in their order."""

    name: str
    """Stands in recordings; never changes."""
    title: str
    items: tuple[Item, ...]
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Opening:
    """Something that is opened, set or moved for a test and has to be put back."""

    item: str
    """Stands in recordings; never changes."""
    text: str
    """What is open."""
    close: str
    """What to say when it is put back."""
    closed: str
    """What was done then."""
    caution: str = ""
    """Shown while it is open."""
    firing: str = ""
    """Why burners must not be on while it is open; empty where they may be."""


INDUCER_ONLY = "inducer only, gas cock shut, refit before firing"

LISTS = (
    Checklist(
        "before",
        "Before you start",
        (
            Item("room_co", "room CO measured at the door"),
            Item("smell", "no smell of gas at the door"),
            Item("plate", "rating plate read"),
            Item("faults", "fault history read before power is cut"),
            Item("filter", "filter looked at"),
            Item("terminations", "terminations outside looked at"),
            Item("zeroed", "meters zeroed"),
            Item("appliances", "other gas appliances noted"),
        ),
        caution="Smell of gas: leave without touching anything, call from outside.",
    ),
    Checklist(
        "safe",
        "Leave it safe",
        (
            Item("ports", "ports plugged and bubble-tested"),
            Item("tees", "tees out"),
            Item("hoses", "hoses on"),
            Item("trap", "trap primed"),
            Item("joints", "intake and vent joints refitted"),
            Item("panels", "panels on"),
            Item("switches", "switches as found"),
            Item("pilots", "pilots relit"),
            Item("cycles", "three clean cycles, with high stage and 15 min without a limit trip"),
            Item("co", "CO measured in flue and room"),
            Item("thermostat", "thermostat restored"),
            Item("tagged", "or else: gas and power off, tagged, customer told in writing", instead=True),
        ),
    ),
)

OPENINGS = (
    Opening(
        "burner_box",
        "burner-box cover off",
        "refitted",
        "burner-box cover refitted",
        caution=INDUCER_ONLY,
        firing="the burner-box cover is off",
    ),
    Opening(
        "intake_pipe",
        "intake pipe off",
        "refitted",
        "intake pipe refitted",
        caution=INDUCER_ONLY,
        firing="the intake pipe is off",
    ),
    Opening(
        "vent_joint",
        "vent joint open",
        "refitted",
        "vent joint refitted",
        caution=INDUCER_ONLY,
        firing="a vent joint is open",
    ),
    Opening("tap_port", "pressure-tap port open", "plugged and bubble-tested", "port plugged and bubble-tested"),
    Opening("tee", "tee in a hose", "tee out, hose on", "tee out, hose on"),
    Opening("hose", "hose off", "on again", "hose on again"),
    Opening(
        "drain",
        "drain opened",
        "trap primed",
        "drain closed, trap primed",
        caution="power off; prime the trap again before firing",
        firing="the drain is open",
    ),
    Opening(
        "panel",
        "panel or blower door off",
        "refitted",
        "panel or blower door refitted",
        caution="leave the door switch to do its work, never tape it",
    ),
    Opening("gas_cock", "gas cock shut", "open again", "gas cock open again"),
    Opening("power", "power off", "on again", "power on again"),
    Opening(
        "appliances", "other appliances turned down", "as found, pilots lit", "other appliances as found, pilots lit"
    ),
    Opening("setting", "switch or thermostat moved", "as found", "switch or thermostat as found"),
)

OTHER = Opening("other", "something else", "put back", "put back")
"""What the technician names in his own words."""

SOURCE = "Common practice, no published source. Local codes and the maker's instructions come first."


def opening_of(item: str) -> Opening | None:
    """Kind of an entry, None for one of another version."""
    return next((one for one in (*OPENINGS, OTHER) if one.item == item), None)


def words() -> dict[str, object]:
    """Every text of the lists and of what can be opened, for the page."""
    return {
        "source": SOURCE,
        "lists": [
            {
                "list": one.name,
                "title": one.title,
                "caution": one.caution,
                "items": [{"item": item.item, "text": item.text, "instead": item.instead} for item in one.items],
            }
            for one in LISTS
        ],
        "openings": [
            {"item": one.item, "text": one.text, "close": one.close, "firing": one.firing} for one in (*OPENINGS, OTHER)
        ],
    }
