"""A caller of the API for the tests, and every kind of thing its addresses name."""

import json
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.test import Client
from django.utils import timezone

from accounts.models import User
from equipment.actions.tokens import make_token
from equipment.models import Installation, Rig
from tests import builders
from tests.builders_drawdowns import a_bank_beside, a_drawdown_draft, a_pump, a_pump_draft, a_recharge, filled
from tests.builders_functions import a_function_draft, with_controls
from tests.builders_line_ups import a_plan
from tests.builders_pressure_systems import a_pressure_system
from tests.builders_tests_app import SIGNED, World, a_draft, a_recording, a_sealed_record, a_step, a_world, good
from tests.builders_work import a_deferral, a_postponement, key_of, some_work
from tests_app.actions.certificates import issue_certificate
from tests_app.models import LineUpPlan, Notice


@dataclass
class Caller:
    """A program that calls with a token; every call says what it answered as a document."""

    word: str = ""
    client: Client = field(default_factory=Client)

    def send(self, method: str, address: str, body: Any = None, **headers: str) -> Any:
        """Send a call below the API; a body is sent as JSON."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.word:
            sent["Authorization"] = f"Bearer {self.word}"
        content = "" if body is None else json.dumps(body)
        return self.client.generic(
            method.upper(), f"/api/v1/{address}", content, content_type="application/json", headers=sent
        )

    def get(self, address: str, **headers: str) -> Any:
        return self.send("GET", address, **headers)

    def post(self, address: str, body: Any = None, **headers: str) -> Any:
        return self.send("POST", address, {} if body is None else body, **headers)

    def patch(self, address: str, body: Any, **headers: str) -> Any:
        return self.send("PATCH", address, body, **headers)

    def upload(self, address: str, files: dict[str, Any], **headers: str) -> Any:
        """Send a form with its files."""
        sent = {"Authorization": f"Bearer {self.word}", **{key.replace("_", "-"): v for key, v in headers.items()}}
        return self.client.post(f"/api/v1/{address}", files, headers=sent)


def a_caller(person: User, *, rig: Rig | None = None, writes: bool = True) -> Caller:
    """A caller by a new token of the person."""
    at = timezone.now()
    _, word = make_token(name="Program", rig=rig, writes=writes, expires_at=at + timedelta(days=9), by=person, at=at)
    return Caller(word)


@dataclass
class Things:
    """A rig with one of everything, by the first part of the addresses that name it."""

    world: World
    keys: dict[str, int]


def things() -> Things:
    """A rig with a draft of each kind, a sealed record with its certificate, and one of everything else."""
    world = a_world()
    sealed = a_sealed_record(world)
    issue_certificate(sealed, by=world.supervisor, at=SIGNED)
    draft = a_draft(world)
    step = a_step(draft, world, "Lower pipe ram")
    recording = a_recording(draft, world, good(), step=step)
    bank = a_bank_beside(world)
    drawdown = filled(a_drawdown_draft(bank), bank)
    pump_test = a_pump_draft(bank)
    with_controls(world)
    function_test = a_function_draft(world)
    standing = Installation.objects.filter(position=world.at("Annular")).get()
    builders.an_elastomer(standing.component)
    builders.a_service_event(standing.component)
    keys = {
        "rigs": world.rig.pk,
        "wells": world.section.well.pk,
        "sections": world.section.pk,
        "stacks": world.stack.pk,
        "positions": world.at("Annular").pk,
        "installations": standing.pk,
        "components": standing.component_id,
        "instruments": world.recorder.pk,
        "documents": builders.a_document(standing.component).pk,
        "banks": bank.bank.pk,
        "records": draft.pk,
        "sealed": sealed.pk,
        "drawdown": drawdown.pk,
        "pump test": pump_test.pk,
        "function test": function_test.pk,
        "steps": step.pk,
        "lines": step.lines.get().pk,
        "recordings": recording.pk,
        "functions": drawdown.drawdown_functions.first().pk,
        "recharges": a_recharge(drawdown, bank).pk,
        "pumps": a_pump(pump_test, bank).pk,
        "function-lines": function_test.function_lines.first().pk,
        "work": some_work(world, f"inspection/stack-{world.stack.pk}").pk,
        "deferrals": a_deferral(world, key_of(world, "pressure-test", "Annular")).pk,
        "postponements": a_postponement(world, key_of(world, "pressure-test", "Annular")).pk,
        "notices": a_notice(world).pk,
        "line-up-plans": a_line_up_plan(world).pk,
    }
    return Things(world, keys)


def a_line_up_plan(world: World) -> LineUpPlan:
    """A plan of the annular's test, worked out."""
    a_pressure_system(world.stack)
    return a_plan(world, "Annular")


def a_notice(world: World) -> Notice:
    """A notice of the rig that was told to nobody yet."""
    facts = {"what": "drill", "stage": "overdue", "occasion": "once", "hours_past": 0, "subject": "Drill"}
    return Notice.objects.create(rig=world.rig, obligation_key="drill/rig", created_at=SIGNED, **facts)
