"""Trouble with the record: said once in the log when it begins and when it is over, told by ``/health`` meanwhile."""

import logging
import sqlite3

log = logging.getLogger("wadeline")
_OF_THE_RECORD = (sqlite3.OperationalError, sqlite3.DatabaseError)


def is_of_the_record(error: BaseException) -> bool:
    """Whether a record fails (no space, locked, a lost page), and not what was to be written into it.

    ``sqlite3`` raises subclasses of these two for the latter, such as IntegrityError.
    """
    return type(error) in _OF_THE_RECORD


class Trouble:
    """Whatever reads or writes the record tells how that went. A damaged record stays so until the next start."""

    def __init__(self) -> None:
        self.why = ""
        self._damaged = False

    def met(self, error: sqlite3.Error) -> None:
        """The record could not be used now; what was to be written is brought or tried again."""
        damaged = type(error) is sqlite3.DatabaseError
        if damaged and not self._damaged:
            self.why = f"the record is damaged: {error}; end serve, then wadeline desk verify, or go on with a backup"
            log.error("%s", self.why)
        elif not self.why:
            self.why = f"the record can't be written now, it is tried again: {error}"
            log.error("%s", self.why)
        self._damaged = self._damaged or damaged

    def over(self) -> None:
        """The record was written."""
        if self.why and not self._damaged:
            self.why = ""
            log.warning("the record can be written again")
