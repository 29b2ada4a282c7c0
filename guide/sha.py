"""SHA-256 from the interpreter itself, as its own ``random`` has it.

``hashlib`` loads all of OpenSSL first, 2 ms of each start of ``pipe``; it serves where a Python has no such module.
"""

try:
    from _sha2 import sha256  # type: ignore[import-not-found,unused-ignore]  # from Python 3.12 on
except ImportError:
    try:
        from _sha256 import sha256  # type: ignore[import-not-found,unused-ignore]
    except ImportError:
        from hashlib import sha256


def sha256_of(data: bytes) -> str:
    """The SHA-256 of some bytes, as 64 hexadecimal digits."""
    digits: str = sha256(data).hexdigest()
    return digits
