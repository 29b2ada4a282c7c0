"""Phone numbers in one form, E.164 (ITU-T), so that a phone is one phone however a gateway writes it."""

from functools import lru_cache

import phonenumbers


@lru_cache(maxsize=4096)
def number_of(given: str, region: str = "") -> str | None:
    """``+447700900123`` for a number as a gateway gives it; None for what is no phone's number.

    ``region`` is the country of numbers written without their country code. Digits without a plus that fit no
    number of that country are read as if they had one: many gateways leave it out.
    """
    digits = given.strip()
    if len(digits) > 40:
        return None
    for text, country in ((digits, region or None), (f"+{digits.lstrip('+')}", None)):
        try:
            number = phonenumbers.parse(text, country)
        except phonenumbers.NumberParseException:
            continue
        if phonenumbers.is_possible_number(number):
            return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
    return None
