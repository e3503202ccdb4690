"""One run: told what happened, says what to do. Everything passes through ``Run.receive``.

Rule 1: ceilings are looked at before anything else is done with a sample.
Rule 2: the first thing a run does is show the cautions and wait for a person; the last is to see the bench off.
Rule 3: after the run has begun to make safe it orders nothing but off.
"""

from __future__ import annotations

from dataclasses import replace

from runner.engine.away import SensorsAway
from runner.engine.bench_state import PATH_OF, BenchState
from runner.engine.ceilings import Ceilings, StandingQuestion, taken_back
from runner.engine.fitting.further import referred
from runner.engine.hands import for_machine, hands_off, heats, taken_away_between
from runner.engine.opening import Opening
from runner.engine.program import Program
from runner.engine.sequence import Sequence
from runner.engine.states import FAILED, NEXT, State, why_off
from runner.engine.steps import Step, make_step
from runner.engine.steps.base import Surroundings
from runner.engine.steps.hold import Confirm
from runner.engine.steps.switches import SWITCHED_ON, Rest, Switches
from runner.engine.steps.typed import TypedReadings
from runner.engine.texts import ends
from runner.engine.texts.by_hand import off_now
from runner.engine.texts.ramps import take_away
from runner.engine.watch.verdict import Verdict
from runner.engine.watch.watcher import Watcher
from runner.engine.watch.watching import Watching
from runner.events import (
    CHARGE,
    DISCHARGE,
    Answered,
    Complained,
    Event,
    Faulted,
    GuardEnded,
    LoadIsOn,
    NobodyConfirmed,
    OrderFailed,
    OutputIsOff,
    OutputIsOn,
    Reckoned,
    Resumed,
    Sampled,
    Started,
    StopPressed,
    SupplyIsSet,
    Suspended,
)
from runner.orders import (
    Ask,
    BeginRamp,
    BeginStep,
    End,
    Found,
    Guide,
    Judge,
    LoadOn,
    Order,
    Pace,
    Remark,
    SetLimits,
    SetLoad,
    SetSupply,
    SwitchOff,
    SwitchOn,
)
from runner.vocabulary import Answer, Role, Until

LAST_FLOOR = 0.97  # of a step's floor: below that the run ends, whatever the step makes of it


class Run:
    """The machine. ``state`` is where it is, ``step`` what it is doing, ``ended`` whether anything can still happen."""

    def __init__(
        self,
        program: Program,
        begin: int = 0,
        *,
        awake: bool = True,
        rested: float = 0.0,
        guarded: bool = True,
        agreed: str = "",
        speed: float = 1.0,
    ) -> None:
        """``begin`` is the step to begin with; ``awake`` is False if the pack has cut off and not come back (after a break);
        ``rested``: s of earlier breaks after which nothing was begun again.

        Without a guard (``guarded`` False) a person has to agree to that with the cautions. ``agreed``: who agreed to what is
        unusual on the pack sheet earlier in the session, and why; then nobody is asked again. ``speed``: seconds of its clock in
        one of a person's.
        """
        self.program = program
        self.opening = Opening(program, guarded=guarded, agreed=agreed)
        self.state = State.READY
        self.known = BenchState()
        self.watcher = Watcher(
            dict(program.smallest_current), program.patience, program.empty_at, program.declared_path, program.climb
        )
        self.ceilings = Ceilings(program.ceilings, program.patience, program.by_hand)
        self.step: Step | None = None
        self._reference = ""  # the channel of a further probe that is the reference; empty: the first one is
        self.early = False
        self.reason = ""
        self._at_once: list[str] = []  # what a person has to do first
        self.away = SensorsAway(program.steps)
        self._around = Surroundings(program, self.known, self.watcher, awake)
        self._watching = Watching(self.watcher)
        self._sequence, self._rested = Sequence(program.steps, begin, self._around), rested
        self._question = StandingQuestion(self.known, program.longest_hold, speed)
        self.switches = Switches(self.known, program.looked_at)
        self._rest = Rest(program.by_hand, program.looked_at)
        rated = (program.rated_capacity, program.rated_energy)
        self._typed = TypedReadings(self.ceilings, program.usual, rated, program.protection)
        self._bench_off: OutputIsOff | None = None  # what is on a cable, once the run makes safe

    @property
    def by_hand(self) -> list[str]:
        """What a person has to do if the run ends now: what no cable reaches."""
        hands_at = None if self.program.heated_by_machine else self.known.hands_at
        return [*self._still_on, *([] if hands_at is None else [take_away(hands_at, now=True)])]

    @property
    def _still_on(self) -> list[str]:
        return [off_now(role) for role in self.switches.left]

    @property
    def agreed(self) -> str:
        """Who agreed to what is unusual on the pack sheet, and why."""
        return self.opening.agreed

    @property
    def skipped(self) -> dict[int, str]:
        """The steps that were passed over, by index, with the reason."""
        return self._sequence.skipped

    @property
    def ended(self) -> bool:
        return self.state is State.ENDED

    def referred(self, sample: Sampled) -> Sampled:
        """The sample with the readings of the probe that is the reference now as the reference's."""
        if self.step is not None and self.step.planned.sensor:
            self._reference = self.program.references.get(self.step.planned.sensor, "")
        return referred(sample, self._reference) if self._reference else sample

    def receive(self, event: Event) -> list[Order]:
        """Everything that is to be done now that ``event`` has happened, in order."""
        self._rest.happened(event)
        by_machine = self.program.heated_by_machine
        orders = taken_away_between(self._follows(event), self.known.hands_at, by_machine=by_machine)
        if self.state not in (State.MAKING_SAFE, State.ENDED):
            orders = self.switches.passed_on(orders)
            self._arm(orders, event.t)
        if by_machine:
            orders = [for_machine(order) if isinstance(order, Guide) else order for order in orders]
        self._question.keep(event, orders)
        self._keep(orders, event.t)
        if self.state is State.MAKING_SAFE and self.known.hands_at is not None:
            sensor, self.known.hands_at = self.known.hands_at, None
            # after the outputs: those first. An actuator is off with them, and would go to its rest if it were told anything
            return orders if by_machine else [*orders, hands_off(sensor, now=True)]
        return orders

    def _keep(self, orders: list[Order], t: float) -> None:
        """What the run's own orders say about the bench from now on: how often it is polled, to what it is set, what is heated."""
        for order in orders:
            self._rest.ordered(order, t)
            if isinstance(order, Pace):  # what is polled rarely may be missing longer
                self._watching.ordered(order)
                self.ceilings.paced(order.interval, order.slow)
            elif isinstance(order, SetSupply):
                self.ceilings.set_to(order.voltage)
            elif isinstance(order, Guide):
                if "probe" in self.program.by_hand:  # marks of another motion say nothing about the rate of this one
                    self.known.moves_anew()
                by_machine = self.program.heated_by_machine
                self.known.hands_at = order.sensor if heats(order, by_machine=by_machine) else None
                self.ceilings.heated(self.known.hands_at is not None, t if by_machine else None)
            elif isinstance(order, BeginRamp):
                self.known.moves_anew()

    def _arm(self, orders: list[Order], t: float) -> None:
        """The ceilings count from the order: what was told to go on may be on, whatever becomes of its answer."""
        for order in orders:
            if isinstance(order, SwitchOn):
                self.ceilings.armed(t, CHARGE)
            elif isinstance(order, LoadOn):
                self.ceilings.armed(t, DISCHARGE, self._last_floor)
            elif isinstance(order, Ask) and order.of in SWITCHED_ON:
                self.ceilings.armed_by_hand(t, PATH_OF[SWITCHED_ON[order.of]], self._last_floor)

    @property
    def _last_floor(self) -> float | None:
        floor = None if self.step is None else self.step.planned.values.get("floor")
        return None if floor is None else LAST_FLOOR * floor

    def _follows(self, event: Event) -> list[Order]:
        """What the opening, the step or the way out orders on this event."""
        if self.ended:
            return []
        if isinstance(event, Started):
            self._go(State.HOLDING)
            return [Pace(1.0, 1.0), SwitchOff(everything=True), self.opening.begins()]  # whatever was left on
        if isinstance(event, Resumed):
            self._go(State.HOLDING)
            self._sequence.rested(self._rested + event.after)
            self.switches.happened(event, None)
            for role in PATH_OF:  # nobody knows what was switched since
                if role in self.program.by_hand:
                    self.known.switched_by_hand(role, on=True)
            return [Pace(1.0, 1.0), SwitchOff(everything=True), self.opening.resumes(event)]
        if isinstance(event, Complained):
            return [Remark(ends.old_error(event.instrument, event.what))]
        self.switches.happened(event, self._question.asked)
        verdicts, orders = self._look(event)
        if self.state is State.MAKING_SAFE:
            return orders + self._making_safe(event)
        if why := self._must_stop(event):
            return orders + self._make_safe(why, early=True)
        if self.step is None and isinstance(event, Answered):
            said, begins = self.opening.answered(event)
            if self.opening.left_out:
                self._sequence.leave_out(self.opening.left_out)
                return orders + self._make_safe(self.opening.left_out, early=False)
            return orders + said + (self._begin_next(event.t) if begins else [])
        found: list[Order] = [Found(say) for say in event.found] if isinstance(event, Reckoned) else []
        look = [Remark(say)] if (say := self.ceilings.to_look()) else []
        return orders + look + found + self._to_the_step(event, verdicts)

    def _to_the_step(self, event: Event, verdicts: list[Verdict]) -> list[Order]:
        if self.step is None or self.switches.is_mine(event):
            return []
        stands = None if self.switches.waiting else self._question.after(event)
        if isinstance(event, Answered):
            event, again = self._typed.answered(event, self._question.asked)
            if again is not None:
                return [again]
        orders = taken_back(stands, self._allowed(self.step.receive(event, verdicts)), over=self.step.done)
        return orders + (self._begin_next(event.t) if self.step.done else [])

    # ---- looking ---------------------------------------------------------------------------------------------

    def _look(self, event: Event) -> tuple[list[Verdict], list[Order]]:
        """Take in what the event says about the bench, whatever the step makes of it."""
        if isinstance(event, OutputIsOn):
            self.known.switched_on(CHARGE, event.t)
            self.ceilings.armed(event.t, CHARGE)
        elif isinstance(event, LoadIsOn):
            self.known.switched_on(DISCHARGE, event.t)
            self.ceilings.armed(event.t, DISCHARGE, self._last_floor)
        elif isinstance(event, OutputIsOff):
            self.known.switched_off()
            if not self.known.by_hand_on:
                self.ceilings.disarmed()
        elif isinstance(event, Sampled):
            self.known.take(event)
        elif isinstance(event, Answered):
            self.ceilings.answered(event, self._question.asked)
        elif isinstance(event, SupplyIsSet):
            self.known.points = (event.voltage, event.current)
        wanted = self.program.protection == "over_voltage" and self._until() == Until.STOPPED
        verdicts = self._watching.happened(event, over_voltage_wanted=wanted)
        return verdicts, [Judge(verdict.word, verdict.why) for verdict in verdicts]

    def _until(self) -> str:
        return self.step.planned.word("until") if self.step is not None else ""

    def _must_stop(self, event: Event) -> str:
        if isinstance(event, Sampled):
            return event.fault or self.ceilings.passed(event, self._rest.total) or self._question.waited_too_long()
        if isinstance(event, OutputIsOff) and not event.confirmed:
            return ends.UNCONFIRMED
        if isinstance(event, StopPressed):
            return ends.stopped(event.by)
        if isinstance(event, Answered) and event.value == Answer.STOP:
            return ends.stopped_when_asked(event.by)
        if isinstance(event, Answered):
            return self._typed.passed(event, self._question.asked)
        if isinstance(event, OrderFailed):
            return ends.order_failed(FAILED.get(event.order) or ends.another_order(event.order), event.what)
        if isinstance(event, GuardEnded):
            return ends.GUARD_ENDED
        if isinstance(event, Suspended):
            return ends.suspended(event.seconds)
        if isinstance(event, Faulted):
            return ends.fault(event.what)
        return ""

    @property
    def answer_within(self) -> float | None:
        """Seconds after which a question that stands ends the run; None while nothing is on."""
        return self._question.answer_within

    # ---- going on --------------------------------------------------------------------------------------------

    def _begin_next(self, t: float) -> list[Order]:
        orders: list[Order] = []
        if self.step is not None and isinstance(self.step, Confirm):
            self.away.confirmed(self.step.planned)
        if self.step is not None and self.step.skip:
            if self.step.skip in ("early", Answer.LEAVE_OUT):
                self._sequence.ended_by(self.step)
                return self._make_safe(self.step.why, early=self.step.skip == "early")
            between = self._sequence.done_again(self.step)
            if between is not None:
                return self._begin(between, t, [Remark(ends.repeated(self.step.planned.sensor, self.step.why))])
            orders += self._sequence.skip(self.step)
        for planned in self._sequence.following():
            orders = self._begin(make_step(planned, self._around), t, orders)
            if self.step is not None and not self.step.done:
                return orders
        left = [Remark(self._around.to_say)] if self._around.to_say else []
        undone = self._sequence.undone if self._sequence.cut_short else 0
        return [*orders, *left, *self._make_safe(ends.all_done(undone), early=False)]

    def _begin(self, step: Step, t: float, orders: list[Order]) -> list[Order]:
        """``orders``, and those with which a step begins."""
        if step.planned.kind == "confirm" or self.step is None or self.step.planned.sensor != step.planned.sensor:
            self.known.probe_moves(by_hand=Role.PROBE in self.program.by_hand or bool(self.program.references))
        self.step, planned = step, step.planned
        self._go(State.HOLDING if step.asks else State.WATCHING)
        self.away.begun(planned)
        first = self._allowed(step.begin(t))
        before, self._around.to_say = self._around.to_say, ""
        tells = (
            step.asks or step.done or planned.kind == "off" or any(isinstance(order, Ask | Guide) for order in first)
        )  # these say it themselves
        say = "" if tells else planned.say
        if before and any(isinstance(order, Ask) for order in first):
            first = [
                replace(order, say=f"{before} {order.say}") if isinstance(order, Ask) else order for order in first
            ]
        elif before:
            say, step.before = f"{before} {say}".strip(), before
        return [
            *orders,
            BeginStep(planned.index, planned.kind, planned.title, planned.sensor, planned.cycle, say),
            *first,
        ]

    def _allowed(self, orders: list[Order]) -> list[Order]:
        """The rule that supply and load are switched on in WATCHING only; a step that breaks it is a defect of the program."""
        if self.state is not State.WATCHING and any(
            isinstance(order, SetLimits | SetSupply | SwitchOn | SetLoad | LoadOn) for order in orders
        ):
            raise AssertionError(f"{self.step} needs an output on while {self.state.value}")
        on = "" if self.known.going_off else self.known.path
        other = {CHARGE: LoadOn, DISCHARGE: SwitchOn}.get(on)
        if other is not None and any(isinstance(order, other) for order in orders):
            raise AssertionError(f"{self.step} needs the other path on while the {on} is on")
        self.known.going_off = self.known.going_off or any(isinstance(order, SwitchOff) for order in orders)
        return orders

    # ---- the way out -----------------------------------------------------------------------------------------

    def _make_safe(self, reason: str, *, early: bool) -> list[Order]:
        self.early, self.reason = early, reason
        self._at_once = [say for say in self.by_hand if say not in self._still_on] if early else []
        self._go(State.MAKING_SAFE)
        why = why_off(reason, self.ceilings.detail) if early else []
        return [*self.switches.dropped(), *why, SwitchOff(everything=True)]

    def _making_safe(self, event: Event) -> list[Order]:
        if isinstance(event, OutputIsOff):
            if not event.everything or self._bench_off is not None:  # what a step ordered just before is not all of it
                return []
            self._bench_off = event
            return [self.switches.ask(self.early, self.reason)] if self.switches.left else [self._over(event)]
        refused = isinstance(event, NobodyConfirmed) or (isinstance(event, Answered) and event.value == Answer.STOP)
        if self._bench_off is None or not (refused or isinstance(event, Answered)):
            return []
        if self.switches.left and not refused:
            return [self.switches.ask(self.early, self.reason)]
        return [self._over(self._bench_off)]

    def _over(self, off: OutputIsOff) -> End:
        """The end, once all that can be confirmed to be off is."""
        self._go(State.ENDED)
        wired = [] if off.confirmed else [off.remark]
        confirmed = off.confirmed and not self.switches.left
        urgent = " ".join([*wired, *self._still_on, *self._at_once])
        reason = self.reason if confirmed or self.early else ends.UNCONFIRMED
        look = "" if self.program.looked_at or not off.confirmed else ends.look_at_it(off.remark)
        left, gone = f"{look} {self.away.say}".strip(), self._sequence
        return End(self.early or not confirmed, confirmed, reason, gone.undone, left, urgent, gone.left_out)

    @property
    def waits_for_off(self) -> bool:
        """Whether the run has ended but for a person who confirms what they switched off."""
        return self.state is State.MAKING_SAFE and self._bench_off is not None

    def _go(self, state: State) -> None:
        if state not in NEXT[self.state]:
            raise AssertionError(f"a run cannot go from {self.state.value} to {state.value}")
        self.state = state
