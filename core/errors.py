"""The one exception that a user is shown: a plain sentence that names what is wrong and where."""


class EmblemaError(Exception):
    """Bad input, said so that a mosaicist can act on it.

    Programs show ``str(error)`` as it stands, so it names the file or the field and the fault.
    """


class Stopped(Exception):
    """Raised inside long work when the user has asked it to stop. Nothing was changed."""


class CannotLay(EmblemaError):
    """One of several fields cannot be laid; `which` is its place among them."""

    def __init__(self, which: int, why: str) -> None:
        super().__init__(why)
        self.which = which


def lowered(error: Exception) -> str:
    """Return what an error says as the end of another sentence."""
    words = str(error)
    return words[:1].lower() + words[1:]
