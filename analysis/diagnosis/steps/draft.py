"""Tests of the draft circuit: inducer, hoses, taps, intake, vent, drain; common practice, no published source."""

from analysis.diagnosis.steps.step import Result, State, Step

REST, INDUCER, FIRING = State

STEPS = (
    Step(
        "motor_and_switch_volts",
        "Inducer running? Volts at the motor and across the pressure switch",
        4,
        "Call for heat. Read the volts at the inducer, then across the switch with its wires on: about 24 V is open,"
        " about 0 V is closed.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("voltmeter",),
        results=(
            Result(
                "runs_closed", "inducer runs, switch closed", "the draft is proved: look further on in the sequence"
            ),
            Result(
                "runs_open", "inducer runs, about 24 V across the switch", "too little draft, its hose, or the switch"
            ),
            Result("still_volts", "inducer stands still with volts on it", "motor, wheel or capacitor"),
            Result("still_dead", "inducer stands still without volts", "no call, no power, a safety, or the control"),
        ),
        table="""
            usual                                                               78 18  2  2
            intake_blocked vent_blocked secondary_restricted primary_restricted 34 63  1  2
            drain_blocked collector_leak                                        36 60  2  2
            switch_hose_leak switch_hose_water                                  20 77  1  2
            switch_faulty                                                       15 82  1  2
            inducer_weak                                                        18 40 40  2
            switch_stuck_closed                                                 30  2  1 67
            no_call control_power_lost                                           8  2  2 88
            control_board_faulty                                                40 10  4 46
            rollout_open limit_faulty                                           55  4  1 40
            ground_polarity                                                     80  8  2 10
        """,
        measures=("volts_control.lowest", "switch_closed.time_to_close"),
    ),
    Step(
        "terminations",
        "Look at the terminations outside",
        5,
        "Look at screen, snow, frost, nest and the distance between intake and vent. Ladder on firm ground, no step"
        " on ice.",
        like="outside",
        results=(
            Result("free", "both free", "intake and vent are less likely, not ruled out: a pipe may be blocked inside"),
            Result("intake", "intake covered or iced", "intake blocked: clear it and look again"),
            Result("vent", "vent covered or iced", "vent blocked: clear it and look again"),
            Result("wet", "water stands or drips in the vent's slope", "a sag holds water, or the drain is backed up"),
            Result("close", "the vent blows towards the intake", "the intake may draw flue gas"),
        ),
        table="""
            usual              91  2  2  2  3
            intake_blocked     33 61  3  1  2
            vent_blocked       34  3 56  5  2
            vent_recirculation 27  3  4  2 64
            drain_blocked      83  2  3  9  3
        """,
    ),
    Step(
        "hoses_ports",
        "Hoses, ports and water in them",
        5,
        "Power off. Look along each hose for splits, kinks and water, at both ports for dirt; drain water out of the"
        " hose away from the switch, then hose on again.",
        marks="P",
        results=(
            Result("good", "whole, dry, free", "hose and ports are less likely"),
            Result("split", "split, loose or off", "hose leaks: replace it"),
            Result("water", "water in the hose", "water in the hose, and look why: drain, sag, trap"),
            Result("plugged", "port plugged", "dirt or water at the port of the box"),
        ),
        table="""
            usual                93  2  3  2
            switch_hose_leak     12 84  2  2
            switch_hose_water    10  2 80  8
            drain_blocked        62  2 28  8
            secondary_restricted 84  2  9  5
            burner_fouled        90  2  3  5
        """,
        measures=("draft_switch.after_stop",),
    ),
    Step(
        "trap_drain",
        "Trap and drain, primed again",
        12,
        "Power off. Open the trap, catch the water (it is acid: gloves, eye protection), flush the drain, prime the"
        " trap again before firing.",
        marks="P",
        like="drain",
        results=(
            Result("free", "water runs off, trap full", "the drain is less likely"),
            Result("blocked", "blocked or backed up", "drain blocked: flushed, watch it drain for a whole call"),
            Result("dry", "trap dry or cracked", "false air into the collector box"),
        ),
        table="""
            usual                95  3  2
            drain_blocked         8 90  2
            collector_leak       52  3 45
            switch_hose_water    70 28  2
            secondary_restricted 78 20  2
        """,
    ),
    Step(
        "tee_switch",
        "Tee on both ports of the pressure switch, inducer only",
        6,
        "Tees in both hoses, manometer between them. Compare with the closing point; tees out and hoses on afterwards.",
        states=(INDUCER,),
        needs=("manometer",),
        parts=("switch_hose",),
        results=(
            Result(
                "above_closed", "above the closing point, switch closed", "the draft circuit is good at this moment"
            ),
            Result(
                "above_open", "above the closing point by more than 2u, steady, switch open", "wiring or the switch"
            ),
            Result("below", "below the closing point and steady", "restriction, leak, slow inducer or its hose"),
            Result("swings", "swings or sinks", "water, wind, or an inducer that slips"),
        ),
        table="""
            usual                                            82  4  9  5
            switch_faulty                                    10 84  4  2
            intake_blocked vent_blocked                      20  3 68  9
            secondary_restricted primary_restricted          38  3 53  6
            drain_blocked                                    28  4 40 28
            collector_leak switch_hose_leak                  14  3 76  7
            switch_hose_water                                 6  4 55 35
            inducer_weak                                     14  3 70 13
            no_call control_power_lost control_board_faulty  65 15 15  5
            vent_recirculation                               60  4 20 16
        """,
        measures=("draft_margin.to_close.cold",),
    ),
    Step(
        "switch_against_tap",
        "Pressure at the switch against the tap of its hose, inducer only",
        4,
        "Tee at the switch, second hose on the tap of the box. Read both in the same run; tee out, port plugged and"
        " bubble-tested afterwards.",
        states=(INDUCER,),
        needs=("manometer",),
        parts=("switch_hose", "draft_collector"),
        results=(
            Result("same", "the same within the meter", "the hose is good"),
            Result("less", "less at the switch", "hose leaks, or its port is part plugged"),
            Result("late", "shifted, late or frozen", "water in the hose"),
        ),
        table="""
            usual             93  4  3
            switch_hose_leak   5 92  3
            switch_hose_water  5 22 73
            drain_blocked     78  5 17
        """,
        measures=("draft_switch.cold", "draft_collector.cold"),
    ),
    Step(
        "next_tap_then_c",
        "Next tap, then the vent side (C), inducer only",
        5,
        "One tap after the other against the figures of this unit when it was good: port plugged again after each. C"
        " separates a blocked vent from a slow inducer and a leak.",
        states=(INDUCER,),
        needs=("manometer",),
        parts=("draft_burner_box", "draft_collector", "draft_vent"),
        results=(
            Result("as_before", "as when it was good", "no restriction at this moment"),
            Result("a_far", "A far stronger, C weaker", "before the burner box: intake"),
            Result("c_far", "A and B weaker, C far stronger", "behind the inducer: vent"),
            Result("b_up", "B stronger, A and C weaker", "between burner box and collector box: exchanger or drain"),
            Result("all_down", "all weaker by one factor", "slow inducer, or thinner air"),
            Result("leak", "A and B weaker, C a little stronger", "false air into the collector box"),
        ),
        table="""
            usual                                    84  3  3  4  4  2
            intake_blocked                            8 86  1  3  1  1
            vent_blocked                              9  1 82  1  5  2
            secondary_restricted                     16  2  1 76  4  1
            primary_restricted                       20  3  1 72  3  1
            drain_blocked                            40  1  1 52  3  3
            inducer_weak                             10  1  1  1 84  3
            collector_leak                           14  1  3  1  9 72
            heat_exchanger_breach                    70  2  2  3 12 11
            vent_recirculation                       76  6  8  3  5  2
        """,
        measures=("draft_burner_box.cold", "draft_collector.cold", "draft_vent.cold"),
    ),
    Step(
        "intake_off",
        "Intake pipe off, inducer only",
        6,
        "Loosen the intake pipe at the unit and read A and the switch with it off and on: refit before firing.",
        states=(INDUCER,),
        needs=("manometer",),
        parts=("intake_pipe", "switch_hose"),
        results=(
            Result("no_change", "hardly any change", "the intake is not it"),
            Result("comes_back", "A falls to next to nothing, the switch comes back", "intake blocked"),
        ),
        table="""
            usual              96  4
            intake_blocked      5 95
            vent_recirculation 90 10
        """,
    ),
    Step(
        "inducer_amps_speed",
        "Inducer amps and speed, line volts at it",
        8,
        "Clamp on one lead, volts at the motor under load, speed where it can be read without opening anything."
        " Hands and sleeves away from the wheel.",
        states=(INDUCER,),
        marks="E",
        needs=("clamp_meter", "voltmeter"),
        results=(
            Result("usual", "amps and volts as usual", "the inducer is less likely"),
            Result("weak", "full volts, speed low or amps off", "motor, wheel or capacitor"),
            Result("volts_low", "volts low at the motor", "supply, connector or control"),
            Result("unloaded", "amps low at full speed", "little gas passes: a restriction"),
        ),
        table="""
            usual                                               88  4  3  5
            inducer_weak                                        11 82  4  3
            control_power_lost control_board_faulty             66  4 25  5
            intake_blocked vent_blocked secondary_restricted    50  6  2 42
            primary_restricted                                  60  5  2 33
            drain_blocked                                       70  8  2 20
        """,
        measures=("amps_inducer.cold", "speed_inducer.cold"),
    ),
    Step(
        "inducer_wheel",
        "Inducer wheel and capacitor",
        10,
        "Power off, capacitor discharged. Turn the wheel by hand, look for loose hub, rust, water and rubbing.",
        marks="P",
        needs=("voltmeter",),
        results=(
            Result("good", "free, tight, capacitor within its label", "the inducer is less likely"),
            Result("bad", "loose, rusted, tight or capacitor low", "inducer weak"),
            Result("water", "water in the housing", "drain or sag of the vent"),
        ),
        table="""
            usual                94  4  2
            inducer_weak         17 81  2
            drain_blocked        76  5 19
            secondary_restricted 88  6  6
        """,
    ),
    Step(
        "vent_joint",
        "A vent joint that can be remade, inducer only",
        12,
        "Only a joint that is made to be opened: read A, B and C with it open and with it closed. Remade, and refit"
        " before firing.",
        states=(INDUCER,),
        marks="L",
        needs=("manometer",),
        parts=("vent_joint", "switch_hose"),
        results=(
            Result("no_change", "hardly any change", "the vent behind the joint is not it"),
            Result("comes_back", "draft comes back", "vent blocked behind the joint"),
        ),
        table="""
            usual         96  4
            vent_blocked   6 94
        """,
    ),
    Step(
        "specified_switch",
        "The specified pressure switch, only after the proof at both ports",
        15,
        "Only after both ports were read at the switch, at or above closing and 2u, steady for 5 s, three times,"
        " with the wiring proved. Power off; the part with the same set-point as the rating plate asks for, and no"
        " other.",
        marks="P",
        parts=("spare_switch",),
        after=("tee_switch:above_open",),
        results=(
            Result("same", "no change", "the switch was not it: put the old one back"),
            Result("cured", "closes as it should", "pressure switch faulty"),
        ),
        table="""
            usual               96  4
            switch_faulty        4 96
            switch_stuck_closed  8 92
        """,
    ),
    Step(
        "secondary_inspection",
        "Inspection of secondary heat exchanger and collector box",
        90,
        "Gas and power off, cold. Only by a licensed person and as the maker describes; new gaskets, everything"
        " refitted and tested for leaks. Last of all tests.",
        marks="GPL",
        results=(
            Result("clean", "clean and tight as far as it can be seen", "less likely; this clears no exchanger"),
            Result("fouled", "fouled, scaled or corroded inside", "exchanger restricted"),
            Result("leak", "gasket or box leaks", "collector box leaks air"),
            Result(
                "crack", "crack, hole or stain of flue gas", "possible breach: make safe, confirm with the analyser"
            ),
        ),
        table="""
            usual                 92  4  3  1
            secondary_restricted   8 88  3  1
            primary_restricted    14 82  2  2
            burner_fouled         60 37  2  1
            collector_leak        12  3 84  1
            heat_exchanger_breach 22  4  3 71
        """,
    ),
)
"""In the order of the trade."""
