"""Ways through the talk that the proof of the flow book found to lead wrong: each stays mended."""


def test_more_after_an_early_close_goes_back_to_the_questions_before_the_water(pond):
    pond.converse("hello", "danger", "0", "leave", "ok", "0", "more")
    assert pond.step() == "arrive.site"


def test_a_pair_that_never_passed_the_gate_waits_for_it_after_more(pond):
    pond.until("arrive.kit")
    ((word,),) = pond.rows("SELECT word FROM visit")
    pond.text(f"join {word}", "+200")
    for words in ("danger", "0", "leave", "ok", "0", "ok"):
        pond.text(words, "+200")
    assert pond.step("+200") == "pairs.done"
    pond.text("more", "+200")
    assert pond.step("+200") == "pairs.wait"


def test_back_stops_at_the_larva_in_hand(pond):
    pond.until("larva.bag")
    pond.converse("back", "back")
    assert pond.step() == "larva.look"
    pond.text("move")
    assert pond.rows("SELECT status FROM sample") == [("void",)]


def test_a_larva_in_hand_is_let_go_where_others_filled_the_tally(pond):
    pond.until("larva.bag")
    free = [code for (code,) in pond.rows("SELECT code FROM tag WHERE status = 'free' ORDER BY code LIMIT 12")]
    pond.converse("back", "; ".join(f"27 darner {code}" for code in free), "y")
    assert pond.step() == "close.out"
    assert pond.rows("SELECT count(*) FROM sample WHERE status = 'open'") == [(0,)]
    pond.whole()


def test_a_sealed_larva_in_hand_stays_sealed_when_others_are_told_of(pond):
    pond.until("larva.measure")
    pond.converse("27 darner 01402; 31 skimmer 01415", "oops", "torn")
    assert pond.step() == "oops.torn"


def test_back_never_makes_a_shut_bottle_void(pond):
    pond.until("net.spot")
    pond.converse("water", "ok", "ok", "ok", "ok", "back")
    assert pond.step() == "water.tag"
    assert pond.rows("SELECT status FROM sample") == [("open",)]


def test_back_out_of_an_open_bottle_goes_past_no_question_with_it_in_hand(pond):
    pond.until("larva.look")
    pond.converse("move", "water", "y", "ok", "back", "back")
    assert pond.step() == "net.spot"
    assert pond.rows("SELECT kind, status FROM sample") == [("water", "void")]


def test_a_closed_visit_is_not_closed_again_by_going_back(pond):
    pond.until("close.end")
    pond.converse("back", "ok")
    assert pond.step() == "close.end"
    assert pond.rows("SELECT count(*) FROM log WHERE kind = 'visit_closed'") == [(1,)]


def test_going_home_with_an_unclean_kit_can_not_be_taken_back_into_the_visit(pond):
    pond.until("arrive.kit")
    pond.converse("no", "home", "back")
    assert pond.step() == "close.home_unclean"


def test_a_leader_who_wants_more_larvae_nets_none(pond):
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT word FROM visit")
    pond.text(f"join {word} leader", "+300")
    for words in ("close", "y", "3", "more"):
        pond.text(words, "+300")
    assert pond.step("+300") == "lead.menu"


def test_oops_waits_in_a_storm_that_danger_called_in_an_oops(pond):
    pond.until("larva.measure")
    pond.converse("27", "key", "oops", "danger", "3", "thunder", "oops")
    assert pond.step() == "storm.shelter"
    pond.whole()


def test_a_pair_that_waits_for_the_gate_is_told_when_the_visit_is_closed(pond):
    pond.until("arrive.kit")
    ((word,),) = pond.rows("SELECT word FROM visit")
    pond.text(f"join {word} leader", "+300")
    pond.text(f"join {word}", "+200")
    for words in ("close", "y", "0", "ok"):
        pond.text(words, "+300")
    pond.until("close.end", "+300")
    pond.text("ok", "+200")
    assert pond.step("+200") == "close.end"


def test_an_hour_before_sunset_no_pace_is_claimed_that_nobody_knows(pond):
    pond.until("larva.look")
    told = [out.text for out in pond.wait(60 * 13) if "hour to sunset" in out.text]
    assert told
    assert "?" not in told[0]


def test_a_visit_closed_before_a_kit_was_named_asks_nothing_of_a_kit_without_a_name(pond):
    pond.converse("hello", "danger", "0", "leave")
    pond.until("close.end")
    assert "Kit to disinfect: GEAR" in pond.last["+100"][-1].text


def test_danger_in_a_storm_does_not_cut_the_wait_short(pond):
    pond.until("larva.look")
    pond.converse("danger", "3", "thunder", "danger", "3", "other", "stay")
    assert pond.step() == "storm.shelter"


def test_danger_in_an_oops_that_danger_called_leaves_no_slip_open(pond):
    pond.until("larva.bag")
    pond.converse("oops", "glove", "danger", "oops", "spoon", "danger", "3", "other", "stay")
    assert pond.step() == "larva.look"
    assert pond.rows("SELECT what, remedy FROM contamination") == [("GLOVE", "danger")]
    assert pond.rows("SELECT count(*) FROM contamination WHERE remedy IS NULL") == [(0,)]


def test_who_left_in_danger_comes_back_through_the_safety_questions(pond):
    pond.until("larva.look")
    pond.converse("danger", "3", "leave", "ok", "3", "more")
    assert pond.step() == "arrive.site"
    pond.converse("1", "y", "sunny", "3", "0", "n")
    assert pond.step() == "safety.in_water"


def test_more_before_any_netting_asks_what_is_short_first(pond):
    pond.until("kit.near")
    pond.converse("danger", "3", "other", "pack", "3", "more")
    assert pond.step() == "arrive.site"


def test_back_after_more_does_not_skip_counting_heads_again(pond):
    pond.until("larva.look")
    pond.converse("pack", "3", "more", "back")
    assert pond.step() == "net.spot"


def test_cold_water_stays_cold_when_the_thermometer_is_unknown_after_all(pond):
    pond.until("safety.temperature")
    pond.converse("8 C", "back", "unknown")
    assert pond.step() == "safety.cold"


def test_larvae_told_before_any_netting_mean_that_there_was_some(pond):
    pond.until("net.spot")
    pond.text("27 darner 01402; 31 skimmer 01415")
    assert pond.rows("SELECT json_extract(answers, '$.netted') FROM visit") == [(1,)]


def test_a_slip_before_late_water_was_agreed_asks_for_no_bottle(pond):
    pond.until("larva.look")
    pond.converse("move", "water", "oops", "glove", "unsure", "ok")
    assert pond.step() == "water.order"


def test_after_a_third_bag_on_another_larva_gloves_are_rinsed_again(pond):
    pond.until("larva.bag")
    pond.converse("27 darner 01402; 31 skimmer 01415", "oops", "torn", "01402", "dry", "ok")
    assert pond.step() == "larva.look"


def test_a_planned_visit_that_is_told_its_water_goes_on_as_planned(pond):
    pond.converse("plan", "amberwell", "6 july", "y", "y", "dry")
    assert pond.step() == "plan.ready"
    assert pond.text("Quill Brook")
    assert pond.step() == "plan.ready"
    pond.converse("here")
    assert pond.step() == "arrive.kit"


def test_a_pair_that_has_packed_nets_no_more_when_all_are_found(pond):
    pond.until("larva.look")
    ((word,),) = pond.rows("SELECT word FROM visit")
    pond.text(f"join {word}", "+200")
    pond.until("larva.look", "+200")
    for words in ("pack", "0", "ok"):
        pond.text(words, "+200")
    free = [code for (code,) in pond.rows("SELECT code FROM tag WHERE status = 'free' ORDER BY code LIMIT 12")]
    pond.text("; ".join(f"27 darner {code}" for code in free))
    assert pond.text("more", "+200")[0].startswith("All 12 are found")
    assert pond.step("+200") == "pairs.done"


def test_who_was_counted_in_danger_is_not_called_for_at_the_close(pond):
    pond.until("larva.look")
    pond.converse("pack", "1", "danger", "3", "other", "stay")
    assert pond.step() == "close.out"
    pond.text("3")
    assert pond.step() == "close.tally"


def test_who_is_missing_still_after_danger_is_still_called_for(pond):
    pond.until("larva.look")
    pond.converse("pack", "1", "danger", "2", "left", "other", "stay")
    assert pond.step() == "close.missing"


def test_trouble_is_heard_in_a_pause(pond):
    pond.until("larva.bag")
    pond.converse("pause", "27")
    assert pond.step() == "larva.bag"
    pond.text("somebody is hurt")
    assert pond.step() == "danger.out"


def test_no_tag_is_called_free_when_none_is(pond):
    pond.until("larva.tag")
    free = [code for (code,) in pond.rows("SELECT code FROM tag WHERE status = 'free' ORDER BY code")]
    for first in range(0, len(free), 10):
        pond.text("; ".join(f"27 darner {code}" for code in free[first : first + 10]))
    assert pond.rows("SELECT count(*) FROM tag WHERE status = 'free'") == [(0,)]
    assert pond.step() == "larva.tag"
    (answer,) = pond.text("01435")
    assert "free" not in answer
