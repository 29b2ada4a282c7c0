"""Numbers as people text them; out of line they are asked back with the value held, never refused into silence."""

import pytest

from tests.flow.reading import read, taken

# How many


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        ("4|4.|four|Four!|about 4|~4|4 people|4 of us|we are 4|all 4|4 kids|4.0|04|４|٤", 4),
        ("0|zero|none|None.|nobody|no one|no-one|Nobody here|no people|0 adults|nothing", 0),
        ("20|twenty", 20),
        ("23|twenty three|twenty-three", 23),
        ("13|thirteen", 13),
    ],
)
def test_a_count_is_digits_or_words(texts, value):
    for text in texts.split("|"):
        assert taken("count", text) == ("sure", value), text


@pytest.mark.parametrize(
    "text", "2.5|-1|no|ok|some|4 in|4 out|all but 1|1,000|3 adults 2 kids|99999|²½||four hundred".split("|")
)
def test_what_is_no_count_is_not_understood(text):
    assert taken("count", text) == ("no", "count.unclear")


@pytest.mark.parametrize("text", "2-3|2 - 3|two or three|2 or 3|2/3|2 to 3|two-three|about 2 or 3".split("|"))
def test_two_counts_are_asked_and_the_first_is_held(text):
    assert taken("count", text) == ("ask", 2)
    assert read("count", text).phrase == "count.which"


def test_a_count_out_of_line_is_asked_back():
    reading = read("count", "40", least=0, most=20)
    assert (reading.value, reading.ask, reading.phrase) == (40, True, "count.odd")
    assert reading.blanks["answer"] == "40"
    assert taken("count", "20", least=0, most=20) == ("sure", 20)
    assert taken("count", "0", least=1) == ("ask", 0)


def test_a_count_is_a_whole_number():
    assert all(type(read("count", text).value) is int for text in ("4", "4.0", "four", "none"))


# A larva's length


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        ('27|27mm|27 mm.|27 MM|2.7 cm|2,7cm|about 27|~27|27ish|twenty seven|twenty-seven mm|it\'s 27|"27"|“27”|27.|'
         "27.0|27 millimetres|27 mm long|length 27|length: 27|= 27|27!|２７ｍｍ|27\u00a0mm|27\u200bmm|\u202e27", 27),
        ("27,5|27.5mm|2.75 cm|about 27,5 mm", 27.5),
        ('1 in|1 inch|1"|1 in.', 25.4),
        ("8", 8),
        ("60|6 cm", 60),
    ],
)  # fmt: skip
def test_a_length_is_millimetres_unless_it_says_otherwise(texts, value):
    for text in texts.split("|"):
        assert taken("length", text) == ("sure", value), text


@pytest.mark.parametrize(("text", "value"), [("2.7", 27), ("3", 30), ("2,75", 27.5), (".9", 9)])
def test_a_small_bare_number_is_asked_as_centimetres(text, value):
    reading = read("length", text)
    assert (reading.value, reading.ask, reading.phrase) == (value, True, "length.unit")
    assert (reading.blanks["said"], reading.blanks["answer"]) == (text, f"{value:g} mm")


@pytest.mark.parametrize(("text", "value"), [("270", 270), ("70", 70), ("2.7 mm", 2.7), ("12 cm", 120), ("0.5", 0.5)])
def test_a_length_out_of_line_is_asked_as_it_was_said(text, value):
    reading = read("length", text)
    assert (reading.value, reading.ask, reading.phrase) == (value, True, "length.odd")


@pytest.mark.parametrize(
    "text", "27-28|27 or 28|27 to 28 mm|27/28|2.7-2.8cm|27 - 28|27mm or 28mm|2.7 or 2.8 cm".split("|")
)
def test_two_lengths_are_asked_and_the_first_is_held(text):
    assert taken("length", text) == ("ask", 27)
    assert read("length", text).phrase == "length.which"


@pytest.mark.parametrize(
    "text", "0|-27|27000|01428|00027|0 mm|ok|darner|27 kg|27 darner|27 28|2:7|1,250|27 m|||mm|²½".split("|")
)
def test_what_is_no_length_is_not_understood(text):
    assert taken("length", text) == ("no", "length.unclear")


def test_a_steps_own_bounds_hold():
    assert taken("length", "70", least=13, most=80) == ("sure", 70)
    assert taken("length", "12", least=13, most=80) == ("ask", 12)


# Distances and depths


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        ("5|5m|5 m.|5 metres|five meters|about 5 m|500 cm", 5),
        ("40 cm|40cm|0.4 m|0,4|.4|400 mm", 0.4),
        ("1m20|1 m 20|1 m 20 cm|1.2|120cm", 1.2),
        ("1 km|1000", 1000),
        ("5 ft|5'|5 feet|60 in", 1.524),
        ("5'6\"|5 ft 6 in|66 inches", 1.676),
        ("10 yards|10 yd", 9.144),
        ("0", 0),
    ],
)
def test_a_distance_is_metres_unless_it_says_otherwise(texts, value):
    for text in texts.split("|"):
        assert taken("distance", text) == ("sure", value), text


def test_a_bare_depth_is_asked_as_centimetres_where_metres_make_no_sense():
    reading = read("distance", "40", least=0, most=1)
    assert (reading.value, reading.ask, reading.phrase) == (0.4, True, "distance.unit")
    assert reading.blanks["answer"] == "40 cm"
    assert taken("distance", "40 m", least=0, most=1) == ("ask", 40)
    assert taken("distance", "400", least=0, most=1) == ("ask", 400)


@pytest.mark.parametrize("text", "10 paces|-5 m|deep|knee|5 kg|99999|ok|5 6".split("|"))
def test_what_is_no_distance_is_not_understood(text):
    assert taken("distance", text) == ("no", "distance.unclear")


# Temperatures


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        ("18|18C|18 c|18°|18°C|18 ℃|18 degrees|18 deg C|about 18|eighteen|18 celsius|water 18", 18),
        ("18.5 deg C|18,5", 18.5),
        ("64F|64 fahrenheit|64 °F|64 deg f", 17.8),
        ("-2|minus 2|−2|- 2 C", -2),
        ("0", 0),
        ("32F", 0),
    ],
)
def test_a_temperature_is_celsius_unless_it_says_otherwise(texts, value):
    for text in texts.split("|"):
        assert taken("temperature", text) == ("sure", value), text


def test_a_hot_bare_number_is_asked_as_fahrenheit():
    reading = read("temperature", "64")
    assert (reading.value, reading.ask, reading.phrase) == (17.8, True, "temperature.unit")
    assert taken("temperature", "64 C") == ("ask", 64)
    assert taken("temperature", "200") == ("ask", 200)
    assert taken("temperature", "-30 C") == ("ask", -30)


@pytest.mark.parametrize("text", "cold|18 mm|ok|18 19|1:30||2 below".split("|"))
def test_what_is_no_temperature_is_not_understood(text):
    assert taken("temperature", text) == ("no", "temperature.unclear")


# Durations


@pytest.mark.parametrize(
    ("texts", "seconds"),
    [
        ("90|90 s|90 sec|90sec.|1:30|1 min 30|1 min 30 s|1.5 min|ninety seconds|about 90 s", 90),
        ("2 min|2min|120|two minutes|2:00", 120),
        ("1h|1 hour|an hour|60 min", 3600),
        ("1 h 20 min|1h20|1 h 20|80 min", 4800),
        ("half an hour|Half an hour.|30 mins|0.5 h", 1800),
        ("3 h", 10800),
        ("0", 0),
    ],
)
def test_a_duration_is_seconds_as_read_off_a_stopwatch(texts, seconds):
    for text in texts.split("|"):
        assert taken("duration", text) == ("sure", seconds), text


@pytest.mark.parametrize("text", "1:75|long|-5 s|10 m/s|ok|1:2|90 90|1:30:00:00".split("|"))
def test_what_is_no_duration_is_not_understood(text):
    assert taken("duration", text) == ("no", "duration.unclear")


def test_a_duration_out_of_line_is_asked_back():
    assert taken("duration", "90 s", least=1, most=60) == ("ask", 90)
    assert read("duration", "1:30", least=1, most=60).phrase == "duration.odd"
    assert taken("duration", "20 or 30 s") == ("ask", 20)


# Volumes and percents, for the tub and the bleach label


@pytest.mark.parametrize(
    ("texts", "litres"),
    [
        ("20|20 L|20l.|20 litres|2 buckets|two buckets", 20),
        ("500 ml", 0.5),
        ("5 gal|5 gallons|5 US gal|5 us gallons", 18.93),
    ],
)
def test_a_volume_is_litres_unless_it_says_otherwise(texts, litres):
    for text in texts.split("|"):
        assert taken("volume", text) == ("sure", litres), text


@pytest.mark.parametrize(("text", "percent"), [("6", 6), ("6%", 6), ("8.25 %", 8.25), ("8,25", 8.25), ("6 percent", 6)])
def test_a_percent_is_as_on_a_label(text, percent):
    assert taken("percent", text) == ("sure", percent)


@pytest.mark.parametrize("text", ["0", "-5", "full", "5 kg"])
def test_what_is_no_volume_and_no_percent_is_not_understood(text):
    assert taken("volume", text) == ("no", "volume.unclear")
    assert taken("percent", text) == ("no", "percent.unclear")


def test_a_volume_or_percent_out_of_line_is_asked_back():
    assert taken("volume", "500", least=1, most=200) == ("ask", 500)
    assert taken("percent", "120") == ("ask", 120)
    assert taken("percent", "5-6 %") == ("ask", 5)
