"""Records of several machines, each with codes of its own."""

from collections.abc import Callable
from random import Random

import pytest

from tests.conftest import Field


@pytest.fixture
def machines(open_field: Callable[..., Field]) -> Callable[[str], Field]:
    """Opens a record of its own machine, with codes of its own."""

    def make(name: str) -> Field:
        field = open_field(f"{name}.db")
        field.exchange.random = Random(name)
        return field

    return make


@pytest.fixture
def laptop(machines: Callable[[str], Field]) -> Field:
    """An offline laptop with a closed visit of twelve larvae, a note and a slip."""
    field = machines("laptop")
    field.until("larva.bag")
    field.converse("note a cold day", "oops", "1", "n", "ok")
    field.until("close.end")
    return field


@pytest.fixture
def desk(machines: Callable[[str], Field]) -> Field:
    """The desk's own record, nothing in it yet."""
    return machines("desk")
