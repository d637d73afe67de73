"""One run of `hembar commission`: terminal, files and broker around what the core asks."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from bridge.adapters.broker.workbench import Workbench
from bridge.cli import commission_house as house
from bridge.cli import commission_progress as kept
from bridge.cli.broker_options import broker_address
from bridge.cli.commission_asking import Asker, read_answers
from bridge.cli.commission_begin import choose, shade_of
from bridge.cli.commission_link import Hands, OneWay, TwoWay
from bridge.cli.commission_progress import Progress
from bridge.cli.commission_sheet import sheet
from bridge.core.commissioning import courses
from bridge.core.commissioning.beginning import CAUTIONS
from bridge.core.commissioning.courses import Purpose
from bridge.core.commissioning.result import Edit, edits, sheet_rows, trimmed
from bridge.core.commissioning.state import Motion, Stand, State
from bridge.core.errors import RequestError
from bridge.core.spec import ContractLink, ShadeSpec
from bridge.core.values import BoardId
from bridge.settings.commissioning import facts_of
from bridge.settings.load import load
from bridge.settings.meaning import link_in_words
from bridge.settings.plain import Settings
from bridge.shell.addresses import address_of
from bridge.shell.clock import now

PUT_AWAY = 1


def commission(args: argparse.Namespace) -> int:
    """Lead the person; return 0 once it is done, 1 when it was put away."""
    asker = Asker(read_answers(args.answers, args.answer))
    settings = load(args.settings)
    spec = shade_of(settings, args.shade)
    with _bench(args, settings) as bench:
        work = _Work(args=args, settings=settings, spec=spec, bench=bench, asker=asker)
        with kept.alone(kept.path_of(args.settings, args.shade)):
            if args.trim_upper is not None or args.trim_lower is not None:
                return work.trim()
            return work.commission()


def _bench(args: argparse.Namespace, settings: Settings) -> Workbench:
    broker = settings.broker
    address = replace(address_of(broker), client_id=f"{broker.client_id}-cli")
    if args.broker is not None:
        there = broker_address(args.broker)
        address = replace(address, host=there.host, port=there.port)
    return Workbench(address, domain=broker.tree_root, root=broker.root_device)


@dataclass
class _Work:
    """One run of the command."""

    args: argparse.Namespace
    settings: Settings
    spec: ShadeSpec
    bench: Workbench
    asker: Asker

    @property
    def shade(self) -> str:
        return self.spec.id

    @property
    def path(self) -> Path:
        path: Path = self.args.settings
        return path

    # The whole.

    def commission(self) -> int:
        """Lead from question to question, write what was learnt, and hand the shade over."""
        where = kept.path_of(self.path, self.shade)
        if self.args.anew and where.exists():
            where.replace(where.with_suffix(".aside"))
        progress = kept.load(where)
        if progress is None or progress.state.step != "done":
            self._out_of_service()
            progress = self._begun(progress)
            if progress is None or not self._lead(progress, where):
                print(
                    f"\nPut away. The shade stays out of service; the same command goes on with it ({where})."
                )
                return PUT_AWAY
            self._write(progress)
        if self._hand_over():
            where.unlink(missing_ok=True)
        return 0

    def trim(self) -> int:
        """Move the limits by a few mm."""
        edits = trimmed(
            facts_of(self.settings, self.spec),
            upper_mm=self.args.trim_upper or 0.0,
            lower_mm=self.args.trim_lower or 0.0,
        )
        self._out_of_service()
        house.write(self.path, self.shade, *edits)
        for each in edits:
            print(f"  {'.'.join(each.path)} = {'(taken out)' if each.value is None else each.value}")
        self._hand_over()
        return 0

    # Out of service, and back.

    def _out_of_service(self) -> None:
        house.write(self.path, self.shade, Edit(path=("in_service",), value=False))
        root = house.at_work(self.bench)
        if root is not None:
            house.await_active(self.bench, root, self.shade, lambda said: said is not True)
        print(f"{self.spec.name} is out of service: neither rules nor requests move it.")

    def _hand_over(self) -> bool:
        """Put the shade in service and let the bridge know where it hangs; False while there is no bridge."""
        root = house.at_work(self.bench)
        if root is None:
            print(
                "\nNo bridge is at work, so the shade stays out of service: its journal may hold an old "
                "place."
            )
            print("Start `hembar run`, then run this command again; it hands the shade over.")
            return False
        house.await_active(self.bench, root, self.shade, lambda said: said is not True)
        house.write(self.path, self.shade, Edit(path=("in_service",), value=None))
        house.await_active(self.bench, root, self.shade, lambda said: said is True)
        self._let_the_board_speak()
        if not self.asker.agreed("at-upper", "Does the hem bar hang at its upper mark now, and still?"):
            print(
                f"Then pin it: `hembar reference {self.shade}`, or `hembar move {self.shade} up` with a "
                "switch."
            )
            return True
        grade = house.confirm_upper(self.bench, root, self.shade)
        print(f"{self.spec.name} is in service, and {grade}.")
        return True

    def _let_the_board_speak(self) -> None:
        spec = next(each for each in load(self.path).house.shades if each.id == self.shade)
        if isinstance(spec.link, ContractLink):
            root = self.settings.broker.boards_root
            hands = TwoWay(bench=self.bench, root=root, link=spec.link)
            house.nudge(self.bench, root, spec.link, term=hands.term, boot=hands.boot or 0, seq=hands.seq + 1)

    # From question to question.

    def _purpose(self) -> Purpose:
        if self.args.new_board:
            return Purpose.NEW_BOARD
        if self.args.new_drive:
            return Purpose.NEW_DRIVE
        return Purpose.NEW_WINDOW if self.args.new_window else Purpose.WHOLE

    def _begun(self, old: Progress | None) -> Progress | None:
        """Return the progress to go on with; None when no board was chosen."""
        if old is not None:
            print(f"It goes on where it was left ({old.purpose}, at `{old.state.step}`).")
            old.amend(courses.resumed(old.state))
            return old
        facts, purpose = facts_of(self.settings, self.spec), self._purpose()
        progress = Progress(purpose=purpose, before=facts, states=[courses.begin(facts, purpose)])
        return progress if choose(self.bench, self.asker, self.settings, self.spec, progress) else None

    def _hands(self, progress: Progress) -> Hands:
        if progress.before.two_way:
            link = ContractLink(board=BoardId(progress.board), channel=progress.channel)
            return TwoWay(bench=self.bench, root=self.settings.broker.boards_root, link=link)
        return OneWay(
            bench=self.bench, spec=self.spec, facts=lambda: progress.state.facts, count=progress.count
        )

    def _lead(self, progress: Progress, where: Path) -> bool:
        """Ask and move until it is done; False when it was put away."""
        hands = self._hands(progress)
        stand = hands.stand()
        while True:
            progress.amend(courses.settled(progress.state, stand))
            progress.count = None if progress.before.two_way else stand.count
            kept.save(where, progress)
            if progress.state.step == "done":
                return True
            question = courses.question(progress.state, stand)
            text = self.asker.ask(question)
            if text in ("quit", "undo"):
                if text == "quit":
                    return False
                print("Undone." if progress.undo() else "There is nothing to undo.")
                stand = hands.stand()
                continue
            # The button at the board may have moved it meanwhile; why it last stopped is told only once.
            here = stand if question.key == "met" else hands.stand()
            going, stand = self._answered(progress, hands, here, text, lambda: kept.save(where, progress))
            if not going:
                return False

    def _answered(
        self, progress: Progress, hands: Hands, stand: Stand, text: str, save: Callable[[], None]
    ) -> tuple[bool, Stand]:
        """Take an answer and move as it says; return whether it goes on, and where the shade stands."""
        before = progress.state
        try:
            turn = courses.reply(before, stand, text)
        except RequestError as error:
            print(f"{error.where}: {error.problem}\n  {error.remedy}")
            return True, stand
        for line in turn.said:
            print(line)
        if turn.stop:
            print(turn.stop)
            return False, stand
        self._keep(progress, before, turn.state)
        save()
        if turn.motion is None:
            return True, stand
        return True, self._moved(progress, hands, turn.motion)

    @staticmethod
    def _keep(progress: Progress, before: State, after: State) -> None:
        if (before.step, before.rest) == (after.step, after.rest):
            progress.amend(after)
        else:
            progress.onward(after)

    def _moved(self, progress: Progress, hands: Hands, motion: Motion) -> Stand:
        try:
            return hands.move(motion)
        except RequestError as error:
            print(f"{error.where}: {error.problem}\n  {error.remedy}")
            progress.undo()
        except KeyboardInterrupt:
            hands.halt()
            print("\nHalted.")
        return hands.stand()

    # What is written.

    def _write(self, progress: Progress) -> None:
        changed = [each for each in edits(progress.state, progress.before) if each.path != ("in_service",)]
        if progress.before.two_way:
            changed += [
                Edit(path=("link", "board"), value=progress.board),
                Edit(path=("link", "channel"), value=progress.channel),
            ]
        house.write(self.path, self.shade, *changed)
        sheet = self._sheet(progress)
        print(f"\nWritten: {self.path} (before: {self.path.name}.before-{self.shade}), sheet: {sheet}")
        if self.args.new_window:
            print(f"Describe the new window in [shades.{self.shade}.window] before rules look at the sun.")

    def _sheet(self, progress: Progress) -> Path:
        spec = next(each for each in load(self.path).house.shades if each.id == self.shade)
        page = sheet(
            name=f"{self.settings.site.name}: {spec.name}",
            day=f"{now().utc.astimezone():%Y-%m-%d}",
            link=link_in_words(spec),
            rows=sheet_rows(progress.state, progress.before),
            cautions=CAUTIONS,
        )
        where: Path = self.args.sheet or self.path.with_name(f"{self.path.stem}.{self.shade}.html")
        where.write_text(page, encoding="utf-8")
        return where
