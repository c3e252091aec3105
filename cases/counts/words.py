"""The words that the counting page's own modules put together, in the reader's language.

They go with the page, so that a device without a network has them too. Of a pair the first is for one and the
second for several; what stands in braces is filled in on the device.
"""

from django.utils.translation import gettext as _

Words = dict[str, str | list[str]]


def page_words() -> Words:
    """All of them, by the names that the modules use."""
    return {
        **_board(), **_hand(), **_packs(), **_steps(), **_panels(), **_ending(), **_device(), **_kinds(),
    }  # fmt: skip


def _board() -> Words:
    return {
        "board": _("The count"),
        "case": _("case"),
        "what": _("What"),
        "should_be": _("Should be"),
        "counted": _("Counted"),
        "result": _("Result"),
        "agrees": _("agrees"),
        "agree": _("agree"),
        "fewer": [_("{n} fewer"), _("{n} fewer")],
        "more": [_("{n} more"), _("{n} more")],
        "to_count": _("to count"),
        "again": _("count again"),
        "settled": _("differs, settled"),
        "counting": _("counting"),
        "first_and_added": _("{first} at first, {added} added"),
        "left_in": _("{n} left in on purpose"),
        "in_fives": _("in fives"),
        "in_tens": _("in tens"),
        "in_numbers": _("in packets of {n}"),
        "in_pack": _("in pack {pack}"),
        "on_this_device": _("on this device only"),
        "counted_aloud": _("Counted aloud by {scrub} and {circulating}."),
        "agrees_all": _("Everything that was counted agrees."),
        "does_not_agree": _("Does not agree: {what}."),
        "not_begun": _("Not begun yet."),
        "was_closed": _("{what} was closed at {at} by {by}."),
        "was_not_done": _("{what} was not done, {at}, {by}."),
        "all_ended": _("All counts have ended"),
        "paused": _("Interrupted at {at}, {by}. Go on with the class under way, from its beginning."),
        "takes_over": _("Someone else takes over"),
    }


def _hand() -> Words:
    return {
        "counted_again": _("counted"),
        "enter": _("Enter {n}"),
        "enter_more": _("Enter {n} more"),
        "enter_as_found": _("Enter {n}, as found"),
        "enter_none": _("Enter"),
        "none_of": [_("None of this: enter 0"), _("None of these {n}: enter 0 for each")],
        "take_back": _("Take back the last {n}"),
        "take_back_says": _("Entered at {at}, {by}. Both stand in the record."),
        "special": _("Broken, left in, wrong packet"),
        "undo": _("Undo"),
        "kept": _("Entered {n} at {at}, {by}; kept. Each count is entered anew, none is changed."),
        "nothing_yet": _("Nothing entered at this count yet. Each count is entered anew, none is changed."),
        "group_short": _("{n} of {all}"),
        "paused_short": _("interrupted"),
        "two_numbers": _("{what}: two devices have two numbers."),
        "two_numbers_said": _("{first} entered {a}, {second} entered {b}. Both are kept, neither is taken."),
        "count_again_aloud": _("Count it again, aloud, and enter it once."),
        "recount": _("Count this class again"),
        "came_on": _("Something came onto the field"),
        "added_since": _("Added since the first count"),
        "time_head": _("Time"),
        "added_head": _("Added"),
        "opened_by": _("Opened by"),
    }


def _packs() -> Words:
    return {
        "packs": _("Packs"),
        "pack": _("Pack"),
        "packs_accepted": _("{done} of {all} accepted"),
        "accepted_whole": _("accepted whole"),
        "packs_wait": _("Packs are accepted once a count has begun. The figure is the number of items."),
        "touch_a_pack": _(
            "Touch a pack when every line in it was counted aloud and agrees. "
            "The figure is the number of items."
        ),
        "line_differs": _("A line differs"),
        "accepted": _("accepted"),
        "to_accept": _("to accept"),
        "differs": _("differs"),
        "packs_differ": [_("{n} differs"), _("{n} differ")],
        "lines_of": _("Lines of pack {pack}"),
        "no": _("No."),
        "critical": _("critical"),
        "enter_number": _("Counted now"),
        "enter_this": _("Enter it"),
        "counted_of": _("Counted now: {what}"),
    }


def _steps() -> Words:
    return {
        "what_to_do": _("What to do now"),
        "differs_says": _(
            "{what} does not agree. Begin the steps of this site; each is written down with its time."
        ),
        "begin_steps": _("Begin the steps"),
        "when_always": _("always"),
        "when_not_found": _("if it is not found"),
        "when_if_wanted": _("if it is wanted"),
        "whom": _("whom, and what was said"),
        "step_note": _("what was done, what was found"),
        "step_done": _("Done"),
        "step_not_done": _("Not done: say why"),
        "done": _("done"),
        "not_done": _("not done"),
        "how_it_ended": _("How it ended"),
        "agrees_now": _("It agrees now. Say how."),
        "outcome": _("Outcome"),
        "outcome_note": _("In words"),
        "report": _("Number of the incident report, if there is one"),
        "second": _("The second person, who agrees aloud"),
        "settle": _("Both say that it ended so"),
        "sign_later": _("Both sign it by PIN on the page Sign, after unscrubbing. That needs the network."),
    }


def _panels() -> Words:
    return {
        "panel_add": _("Came onto the field"),
        "panel_special": _("Not as usual"),
        "panel_hand_over": _("Hand over"),
        "panel_not_done": _("Not done"),
        "panel_pause": _("Interrupt"),
        "choose": _("Choose"),
        "add_says": _("Counted aloud by both as it came on. One touch is one packet."),
        "add_other": _("Something else"),
        "add_name": _("What it is"),
        "add_class": _("Counted with"),
        "add_number": _("How many"),
        "add_it": _("It came on"),
        "hand_over_says": _("Whoever takes over counts all that can be seen, with the one who stays."),
        "broke": _("Something broke"),
        "broke_says": _("All of it is accounted for: its pieces become a line. Keep the instrument."),
        "pieces": _("How many pieces it is now"),
        "broke_do": _("It broke"),
        "leave_in": _("Left in on purpose"),
        "left_plan": _("How and when it comes out"),
        "leave_in_do": _("It stays in"),
        "packet": _("A packet with a wrong number"),
        "packet_says": _("It is taken out whole and not used."),
        "packet_found": _("How many it held"),
        "packet_lot": _("Lot"),
        "packet_do": _("It is out"),
        "seat": _("Who is relieved"),
        "scrub": _("Scrub nurse"),
        "circulating": _("Circulating nurse"),
        "who_takes_over": _("Who takes over"),
        "hand_over": _("Hand over, with a count"),
        "hand_over_count": _("Hand-over count"),
        "not_done_says": _("Only in an emergency. It stands in the record, with what follows from it."),
        "not_done_why": _("Why"),
        "not_done_by": _("Who decided it"),
        "not_done_follow": _("What is done instead, such as an x-ray"),
        "not_done_do": _("It is not done"),
        "pause_says": _("The class under way is counted again from its beginning when you go on."),
        "pause_why": _("Why"),
    }


def _ending() -> Words:
    return {
        "next_head": _("Next"),
        "close_head": _("Close"),
        "begin": _("Begin: {what}"),
        "close": _("Close: {what}"),
        "close_aloud": _("Both say aloud that it agrees: close"),
        "close_says": _("They sign it with their PIN on the page Sign, after unscrubbing."),
        "waits_for": _("Waits for {what}."),
        "waits_paused": _("Waits: the count is interrupted."),
        "more_blocks": _("More than expected blocks as fewer does."),
        "n_packs": [_("{n} pack"), _("{n} packs")],
        "n_others": [_("{n} other"), _("{n} others")],
        "pause": _("Interrupt the count"),
        "resume": _("Go on counting"),
        "not_done_emergency": _("Not done: emergency"),
        "extra": _("One more count"),
        "all_ended_says": _("Every stage has ended. Anybody may ask for one more count."),
    }


def _device() -> Words:
    return {
        "no_network": _("No network"),
        "nothing_waiting": _("Kept on this device until the network is back: nothing waiting."),
        "away_nothing_waiting": _("No network. Nothing waits on this device."),
        "waiting": [
            _("{n} entry is kept on this device and goes up when the network is back."),
            _("{n} entries are kept on this device and go up when the network is back."),
        ],
        "sending": [_("{n} entry is going up."), _("{n} entries are going up.")],
        "waiting_short": [_("{n} entry waits to go up"), _("{n} entries wait to go up")],
        "signed_out": _("Nobody is signed in any more"),
        "waiting_signed_out": [
            _("Counting goes on. {n} entry is kept on this device until somebody signs in."),
            _("Counting goes on. {n} entries are kept on this device until somebody signs in."),
        ],
        "sign_in_again": _("Sign in again"),
        "send_as_mine": _("Send them as {name}; both names are kept"),
        "sent_for": [
            _("{n} entry made by {entered} was sent by {sent}."),
            _("{n} entries made by {entered} were sent by {sent}."),
        ],
        "not_taken": _("Not taken in: {what}, {at}, {by}."),
        "seen": _("Seen"),
        "paper_route": _(
            "Counting goes on here. Bringing in, implants and signing need the network: "
            "until then write on the printed count sheet and the implant sheet, and enter them afterwards."
        ),
        "page_needs_network": _("This page needs the network. The counts of these cases are on this device."),
        "nothing_prepared": _(
            "This page needs the network, and no case is kept on this device: "
            "a case is kept when it is opened here while there is a network."
        ),
        "cases_here": _("Cases on this device"),
        "count_of": _("Count of case {case}"),
        "case_head": _("Case"),
        "theatre": _("Theatre"),
        "operation": _("Operation"),
        "on_device": _("On this device"),
        "as_of": _("as of {at}"),
        "try_again": _("Try again"),
    }


def _kinds() -> Words:
    return {
        "kind_counters": _("who counts"),
        "kind_begin": _("beginning a count"),
        "kind_count": _("a number counted"),
        "kind_accept": _("accepting a pack"),
        "kind_recount": _("counting a class again"),
        "kind_add": _("something that came on"),
        "kind_correct": _("taking something back"),
        "kind_new_line": _("something that came on"),
        "kind_fragment": _("a fragment"),
        "kind_left_in": _("something left in"),
        "kind_packet": _("a wrong packet"),
        "kind_discrepancy": _("the steps of a difference"),
        "kind_step": _("a step"),
        "kind_settle": _("how a difference ended"),
        "kind_close": _("closing a count"),
        "kind_not_done": _("a count not done"),
        "kind_follow_up": _("what followed"),
        "kind_extra": _("one more count"),
        "kind_hand_over": _("a hand-over"),
        "kind_pause": _("an interruption"),
        "kind_resume": _("going on"),
    }
