"""Phone numbers in one form, E.164 (ITU-T), so that a phone is one phone however a gateway writes it."""

from functools import lru_cache

import phonenumbers

from guide.errors import SettingsError


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


def check_numbers(number: str, region: str) -> None:
    """Raises SettingsError for a ``region`` that is no country, and a ``number`` that nobody abroad could text.

    With a region that isn't known, numbers without their country code would be read as another country's.
    """
    if region and region not in phonenumbers.SUPPORTED_REGIONS:
        raise SettingsError(f"region = {region!r} is no country in two capital letters, such as IE or US")
    is_short_code = number.isascii() and number.isdigit() and len(number) <= _LONGEST_SHORT_CODE
    if not number or is_short_code:
        return
    try:
        possible = phonenumbers.is_possible_number(phonenumbers.parse(number, None))
    except phonenumbers.NumberParseException:
        possible = False
    if not possible:
        raise SettingsError(
            f"number = {number!r} is no phone number with its country code, such as +353 20 912 0001, nor a short code"
        )


_LONGEST_SHORT_CODE = 6
