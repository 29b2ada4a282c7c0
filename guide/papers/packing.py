"""Many small values in one whole number, so that a value takes only as much room as it has choices.

A value that is one of ``radix`` choices is one digit of a number of mixed radix (Knuth, The Art of Computer
Programming, volume 2, 4.1). Sets of numbers go in by their rank among all sets of that size (the combinatorial number
system: Knuth, volume 4A, 7.2.1.3), which takes least where they lie close together.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from math import comb
from typing import TypeVar

Value = TypeVar("Value")


class UnpackError(ValueError):
    """A number that no packer made; its text is the end of a sentence that begins with the text it was in."""


class Packer:
    """Takes values in order."""

    def __init__(self) -> None:
        self._digits: list[tuple[int, int]] = []

    def number(self) -> int:
        """All values as one number; the first is its lowest digit."""
        number = 0
        for value, radix in reversed(self._digits):
            number = number * radix + value
        return number

    def put(self, value: int, radix: int) -> None:
        """One of ``radix`` choices, from 0."""
        if not 0 <= value < radix:
            raise ValueError(f"{value} is not one of {radix} choices")
        self._digits.append((value, radix))

    def put_free(self, value: int, usual: int) -> None:
        """Any number from 0; one below ``usual`` - 1 takes one digit, a larger one says so and takes more."""
        while value >= usual - 1:
            self.put(usual - 1, usual)
            value, usual = value - (usual - 1), usual * usual
        self.put(value, usual)

    def put_words(self, words: str) -> None:
        """Any text at all, byte by byte; dear, so only for what has no number."""
        data = words.encode("utf-8", "surrogatepass")
        self.put_free(len(data), 16)
        self.put(int.from_bytes(data, "big"), 256 ** len(data))

    def put_set(self, numbers: Sequence[int], below: int) -> None:
        """Rising numbers from 0, all ``below`` a bound; how many they are is said elsewhere."""
        rank = sum(comb(number, place) for place, number in enumerate(numbers, 1))
        self.put(rank, comb(below, len(numbers)))

    def put_column(self, values: Sequence[Value], put_one: Callable[[Value], None]) -> None:
        """Values of which many are the same: each different one once, then for each place which one it is."""
        different = list(dict.fromkeys(values))
        self.put_free(len(different), 4)
        for value in different:
            put_one(value)
        for value in values:
            self.put(different.index(value), len(different))


class Unpacker:
    """Gives values back in the order they were put; each ``take`` has the form of its ``put``."""

    def __init__(self, number: int) -> None:
        self._rest = number

    def end(self) -> None:
        """Nothing may be left; raises UnpackError otherwise."""
        if self._rest:
            raise UnpackError("holds more than its own count says")

    def take(self, radix: int) -> int:
        """One of ``radix`` choices."""
        if radix < 1:
            raise UnpackError("holds a value that has no choices")
        self._rest, value = divmod(self._rest, radix)
        return value

    def take_free(self, usual: int) -> int:
        """Any number from 0."""
        value = self.take(usual)
        if value < usual - 1:
            return value
        return value + self.take_free(usual * usual)

    def take_at_most(self, usual: int, most: int) -> int:
        """Any number from 0 that may not be larger than ``most``, or raises UnpackError."""
        value = self.take_free(usual)
        if value > most:
            raise UnpackError(f"holds {value} where {most} is the most")
        return value

    def take_words(self) -> str:
        """Any text."""
        length = self.take_at_most(16, 200)
        try:
            return self.take(256**length).to_bytes(length, "big").decode("utf-8", "surrogatepass")
        except UnicodeDecodeError:
            raise UnpackError("holds words that can't be read") from None

    def take_set(self, count: int, below: int) -> list[int]:
        """``count`` rising numbers below a bound."""
        rank = self.take(comb(below, count))
        numbers = []
        for place in range(count, 0, -1):
            below = bisect_right(range(below), rank, key=lambda number: comb(number, place)) - 1
            rank -= comb(below, place)
            numbers.append(below)
        return numbers[::-1]

    def take_column(self, count: int, take_one: Callable[[], Value]) -> list[Value]:
        """``count`` values of which many are the same."""
        different = [take_one() for _ in range(self.take_at_most(4, count))]
        return [different[self.take(len(different))] for _ in range(count)]
