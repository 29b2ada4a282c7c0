"""Numbers as people text them; out of line they are asked back with the value held, never refused into silence."""

import pytest

from tests.flow.reading import read, taken

# How many


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        (
            "4|4.|four|Four!|about 4|~4|4 people|4 of us|we are 4|all 4|4 kids|4.0|04|４|٤|4 ppl|4 👍|4️⃣|"
            '"4"|#4|+4|4 in total|there\'s 4|ok 4|maybe 4|4 or so|4 life jackets',
            4,
        ),
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


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("a couple", 2), ("both of us", 2), ("just me", 1), ("a dozen", 12), ("3+1", 4), ("3 adults and 1 kid", 4),
        ("2 and 2", 4),
    ],
)  # fmt: skip
def test_a_count_in_other_words_is_asked_with_the_number(text, value):
    reading = read("count", text)
    assert (reading.value, reading.ask, reading.phrase) == (value, True, "count.mean")
    assert reading.blanks["answer"] == str(value)


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
         "27.0|27 millimetres|27 mm long|length 27|length: 27|= 27|27!|２７ｍｍ|27\u00a0mm|27\u200bmm|"
         "\u202e27|27 👍|"
         "ok 27|27, sorry|maybe 27|I think 27|27 or so|almost 27|2 cm 7 mm|2cm7|twentyseven|"
         "two point seven cm|27. mm|(27)|"
         "27?", 27),
        ("27,5|27.5mm|2.75 cm|about 27,5 mm|27½|27 1/2|27 and a half|27 point 5", 27.5),
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


@pytest.mark.parametrize("text", ["27milimeters", "27 milimetre", "27 milimeter"])
def test_a_slip_in_a_unit_is_taken_and_said_back(text):
    assert taken("length", text) == ("echo", 27)
    assert read("length", text).phrase == "length.echo"


@pytest.mark.parametrize("text", ["27 darner", "27mm darner", "27, Darner.", "27 not sure"])
def test_a_length_before_a_family_is_taken_and_said_back(text):
    assert taken("length", text) == ("echo", 27)


@pytest.mark.parametrize("text", ["27 m", "27m", "27 mn", "27 nm"])
def test_millimetres_nearly_typed_are_asked(text):
    assert taken("length", text) == ("ask", 27)
    assert read("length", text).phrase == "length.mean"


@pytest.mark.parametrize("text", ["27,28", "26, 27"])
def test_a_comma_between_two_likely_lengths_is_asked(text):
    assert taken("length", text) == ("ask", int(text[:2]))


NO_LENGTH = (
    "0|-27|27000|01428|00027|0 mm|ok|darner|27 kg|27 dar|27 28|2:7|1,250|||mm|not 27|27 not 28|27 👎|"
    "A17|I7|1e3|inf|nan|"
    "27 darner 01428"
)


@pytest.mark.parametrize("text", NO_LENGTH.split("|"))
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
        ("1 km|1000 m", 1000),
        ("0.5|half a metre|half a meter|1/2 m|½ m|50 cm deep", 0.5),
        ("1 m and 50 cm|1½ m|one and a half metres", 1.5),
        ("a metre", 1),
        ("5 ft|5'|5 feet|60 in", 1.524),
        ("5'6\"|5 ft 6 in|66 inches|5'6|5 ft 6|5'6''", 1.676),
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


def test_a_bare_number_from_ten_on_is_asked_where_a_step_says_nothing():
    assert taken("distance", "40") == ("ask", 0.4)
    assert taken("distance", "9") == ("sure", 9)
    assert taken("distance", "40", least=0, most=60) == ("sure", 40)


@pytest.mark.parametrize("text", "10 paces|-5 m|deep|knee|5 kg|99999|ok|5 6".split("|"))
def test_what_is_no_distance_is_not_understood(text):
    assert taken("distance", text) == ("no", "distance.unclear")


# Temperatures


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        ("18|18C|18 c|18°|18°C|18 ℃|18 degrees|18 deg C|about 18|eighteen|18 celsius|water 18", 18),
        ("18.5 deg C|18,5|18½", 18.5),
        ("18º|18 ºC|18 celcius|18 👍", 18),
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
    assert taken("temperature", "38", least=-1, most=40) == ("ask", 3.3)
    assert taken("temperature", "38 C", least=-1, most=40) == ("sure", 38)
    assert taken("temperature", "64 farenheit") == ("echo", 17.8)
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
        ("1 minute and 30 seconds|1'30\"|1:30 min|0:01:30|a minute and a half|1½ min|it took 90 s|90 s 👍", 90),
        ("2 min|2min|120|two minutes|2:00", 120),
        ("1h|1 hour|an hour|60 min", 3600),
        ("1 h 20 min|1h20|1 h 20|80 min|1:20 h|1:20:00", 4800),
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


def test_a_point_for_a_colon_is_asked():
    assert taken("duration", "1.30") == ("ask", 90)
    assert read("duration", "1.30").phrase == "duration.mean"
    assert taken("duration", "20.5") == ("sure", 20.5)


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
