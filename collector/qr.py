"""Links as codes for a telephone's camera."""

import io

import segno

BLACK_AND_WHITE = "\x1b[40;97m"
"""The code's own colours, whatever the terminal's are: cameras want it dark on light."""
PLAIN = "\x1b[0m"


def on_terminal(text: str) -> str:
    """The code of a text as lines of blocks."""
    drawn = io.StringIO()
    segno.make(text, micro=False).terminal(drawn, border=2, compact=True)
    return "\n".join(f"{BLACK_AND_WHITE}{line}{PLAIN}" for line in drawn.getvalue().splitlines() if line)


def as_picture(text: str) -> str:
    """The code of a text as the address of a picture that holds it: black on white with its margin."""
    return str(segno.make(text, micro=False).svg_data_uri(scale=5, border=4, dark="#000", light="#fff"))
