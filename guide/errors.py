"""Errors that a person can act on. The library raises them; the command line and the gateways word them."""


class WadelineError(Exception):
    """Base of all errors of this package; its text is one sentence fit to show a user."""


class FlowError(WadelineError):
    """A flow file can't be used.

    Attributes: ``file`` the file's name, ``step`` as ``flow.step`` ("" for the whole file), ``line`` counted
    from 1 (0 when unknown), ``reason`` in words, ``nearest`` the nearest right name ("" when there is none).
    """

    def __init__(self, file: str, step: str, reason: str, nearest: str = "", line: int = 0) -> None:
        self.file, self.step, self.reason, self.nearest, self.line = file, step, reason, nearest, line
        where = f"{file}:{line}" if line else file
        at = f", step {step}" if step else ""
        hint = f". Did you mean {nearest}?" if nearest else ""
        super().__init__(f"{where}{at}: {reason}{hint}")


class SettingsError(WadelineError):
    """A programme setting is missing or can't be used."""


class RecordError(WadelineError):
    """A database can't be opened or used."""


class InputFileError(WadelineError):
    """A file that a person named can't be read: missing, a folder, too large, not UTF-8."""
