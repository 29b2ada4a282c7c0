"""Phone numbers as the record keeps them: E.164, the international form that begins with ``+``."""

from guide.errors import WadelineError


class NumberError(WadelineError):
    """A phone number can't be used."""


def e164(number: str) -> str:
    """``+353 20 912 0001`` as ``+353209120001``; raises NumberError. Source: ITU-T E.164.

    A number is held to a length that its country knows, not to a range in use: new ranges come every year.
    """
    import phonenumbers  # an extra, which only numbers need

    try:
        parsed = phonenumbers.parse(number, None)
    except phonenumbers.NumberParseException:
        raise NumberError(f"{number!r} is no phone number with its country, such as +353 20 912 0001") from None
    if phonenumbers.is_possible_number_with_reason(parsed) != phonenumbers.ValidationResult.IS_POSSIBLE:
        raise NumberError(f"{number!r} is too long or too short for a phone number of its country")
    return str(phonenumbers.format_number(parsed, phonenumbers.PhoneNumberFormat.E164))
