"""How a request proves that it comes from the gateway: a shared token, or a signature with a time in it."""

import hashlib
import hmac
from collections.abc import Mapping
from datetime import datetime

from guide.errors import WadelineError
from guide.gateway.serve_settings import TextsIn

LONGEST_AGE_S = 300


class ProofError(WadelineError):
    """A request doesn't prove where it comes from; its text is why, for the log and never for the sender."""


def signature(secret: str, time: str, signed: bytes) -> str:
    """HMAC-SHA256 (RFC 2104) over the time, a full stop, and the body or query, in hexadecimal."""
    return hmac.new(secret.encode(), time.encode() + b"." + signed, hashlib.sha256).hexdigest()


class Proof:
    """Checks requests against one secret. A signature serves once, or again for a text with an id."""

    def __init__(self, rules: TextsIn, secret: str) -> None:
        self.rules, self._secret = rules, secret
        self._seen: dict[str, float] = {}

    def check(self, headers: Mapping[str, str], query: Mapping[str, str], signed: bytes, now: datetime) -> str:
        """Raises ProofError; returns the request's signature ("" for a token)."""
        if self.rules.proof == "token":
            given = (headers if self.rules.proof_in == "header" else query).get(self.rules.proof_name, "")
            if not _same(given, self._secret):
                raise ProofError("its token is wrong" if given else "it has no token")
            return ""
        return self._check_signature(headers, signed, now)

    def _check_signature(self, headers: Mapping[str, str], signed: bytes, now: datetime) -> str:
        given, time = headers.get(self.rules.proof_name, ""), headers.get(self.rules.time_name, "")
        if not given or not time:
            raise ProofError("it has no signature or no time")
        if not time.isascii() or not time.isdigit() or len(time) > 12:
            raise ProofError("its time is no Unix time in seconds")
        if abs(now.timestamp() - int(time)) > LONGEST_AGE_S:
            raise ProofError(f"it was signed more than {LONGEST_AGE_S} s from now: replayed, or a clock is wrong")
        if not _same(given.casefold(), signature(self._secret, time, signed)):
            raise ProofError("its signature is wrong")
        return given.casefold()

    def used_before(self, signature: str, now: datetime) -> bool:
        """Whether a signature was used before; remembers it as long as it would be taken."""
        at = now.timestamp()
        if len(self._seen) > 10_000:
            self._seen = {one: until for one, until in self._seen.items() if until > at}
        used = self._seen.get(signature, 0) > at
        self._seen[signature] = at + 2 * LONGEST_AGE_S
        return used


def _same(given: str, wanted: str) -> bool:
    """Compared in constant time, so that no answer's delay tells how much was right."""
    return hmac.compare_digest(given.encode("utf-8", "surrogatepass"), wanted.encode())
