"""A second pair of eyes: the screen of a run that somebody else conducts, or of one that is over. It can do nothing."""

from __future__ import annotations

from textual.binding import Binding

from runner.conduct.follow import Follower
from runner.conduct.interfaces import StopFlag
from runner.errors import RecordError
from runner.orders import Ask, Conclude, Found, Order
from runner.screen.feed import ScreenOperator, Told, ViewSeen
from runner.screen.now.to_do import of_question
from runner.screen.record import Points
from runner.screen.run import RunScreen
from runner.screen.sentences import ended_in_words, headings
from runner.screen.texts import run as texts
from runner.screen.themes import Dressed
from runner.screen.widgets.prompt import Prompt

LOOK_EVERY = 0.2  # s between two looks at the folder


class FollowScreen(RunScreen, inherit_bindings=False):
    """The run's screen without its keys: nothing here reaches the run."""

    BINDINGS = [Binding("q,escape", "leave_following", "Leave", key_display="q", tooltip="the run continues")]
    CSS_PATH = "run.tcss"
    CAUTIONS_FIRST = False

    def __init__(self, follower: Follower) -> None:
        super().__init__(follower.job, headings(follower.job, texts.FOLLOWING), ScreenOperator("onlooker"), StopFlag())
        self._follower = follower
        self._points = Points()

    def on_mount(self) -> None:  # the run's screen has its own, which is called as well
        self.set_interval(LOOK_EVERY, self._look)

    def action_leave_following(self) -> None:
        self.app.exit()

    def _look(self) -> None:
        follower = self._follower
        try:
            told, samples = follower.look()
        except RecordError as error:
            self.query_one(Prompt).show(texts.UNREADABLE, str(error), hold=False)
            return
        self._points.take(samples, self.operator.trace)
        for what, t in told:
            if isinstance(what, Conclude | Found):
                self.on_told(Told(what, t))
            elif isinstance(what, Order):
                self.now.told(what)
        if told or samples:
            self.on_view_seen(ViewSeen(follower.view))
        self._standing(follower.asked)

    def _standing(self, asked: Ask | None) -> None:
        follower = self._follower
        if follower.ended is not None:
            self.end = follower.ended
            self._show_lines()
            self._say(ended_in_words(follower.ended), follower.ended.reason, hold=False)
        elif asked is not None:
            self._say(asked.say, texts.WAITS, hold=True, do=of_question(asked))


class FollowApp(Dressed[None]):
    """Shows a FollowScreen until it is left."""

    def __init__(self, follower: Follower) -> None:
        super().__init__()
        self._follower = follower

    def on_mount(self) -> None:
        self.push_screen(FollowScreen(self._follower))
