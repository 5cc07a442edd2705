"""A clinic from nothing by the README alone, then an upgrade and a rollback with data."""

from __future__ import annotations

import json
from contextlib import ExitStack

import pytest

from tests import cluster
from tests.rehearsal.machine import Machine, blocks

STEPS = blocks("For real use")
FRESH = ["Program", "Files", "Database", "Schema and static files", "Start", "Open the clinic"]
ANSWERS = "\n".join(
    [
        "Elm Street clinic",
        "Elm",
        "112",
        *(f"01632 96000{n}" for n in range(6)),
        "boss",
        "Ada",
        "Example",
    ]
)
COUNT = "from clinic.models import Person; print(Person.objects.count())"
ADD = """
from django.db import transaction
from clinic.models import Site, User
from clinic.record.writes import audit
from tests import factories
site = Site.objects.get()
for number in {}:
    factories.visit(of=factories.person(at=site, record_number=number))
with transaction.atomic():
    # Made without the program's writes: one row of the chain carries all of it.
    audit.record(by=None, site=site, verb="opened", target=site, also=User.objects.all())
"""
#: A later version: one more step of the schema, which reads what is there.
LATER = """
from django.db import migrations

def count(apps, editor):
    assert apps.get_model("clinic", "Person").objects.count() == 3

class Migration(migrations.Migration):
    dependencies = [("clinic", "{}")]
    operations = [migrations.RunSQL("CREATE TABLE rehearsal (x integer)", "DROP TABLE rehearsal"),
                  migrations.RunPython(count, migrations.RunPython.noop)]
"""
HAS_TABLE = "from django.db import connection; print('rehearsal' in connection.introspection.table_names())"


def test_the_readme_has_every_step_in_order():
    assert list(STEPS) == [*FRESH, "Backup, drill, doctor", "Upgrade", "Rollback"]
    assert all(len(STEPS[name].splitlines()) == 5 for name in ("Upgrade", "Rollback"))


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.cluster)])
def machine(request, tmp_path):
    with ExitStack() as held:
        told = {}
        if request.param == "postgresql":
            server = held.enter_context(cluster.running())
            told = {
                "PGHOST": "127.0.0.1",
                "PGPORT": str(server.port),
                "PGUSER": "app@clinic",
                "PGPASSWORD": cluster.PASSWORD,
                "PGDATABASE": "postgres",
            }
        made = Machine(tmp_path, cluster.free_port(), request.param, told)
        held.callback(made.stop)
        yield made


def test_a_clinic_from_nothing_upgraded_and_rolled_back(machine, record_property):
    sqlite = machine.database == "sqlite"
    machine.unpack(machine.app)
    for name in FRESH:
        if not (sqlite and name == "Database"):
            told = machine.run(name, STEPS[name], answers=ANSWERS)
    assert "/account-link/" in told
    assert "second factor" in told
    machine.wait()
    proxy = {"Host": "clinic.example.org", "X-Forwarded-For": "192.0.2.7", "X-Forwarded-Proto": "https"}
    assert machine.answers("/sign-in/", **proxy) == 200
    # The name of the proxy's own network opens nothing.
    assert machine.answers("/sign-in/", **{**proxy, "Host": "127.0.0.1"}) == 400

    machine.python(ADD.format(["A1", "A2", "A3"]))
    # Nobody has the host's name here: all but the outside address is examined.
    told = machine.run(
        "Backup, drill, doctor", STEPS["Backup, drill, doctor"].replace('--url "https://$HOST"', "--all")
    )
    assert "fault" not in told, told

    # --- upgrade with data
    later = machine.unpack(machine.app.with_name("app.new"))
    names = sorted(path.stem for path in (later / "clinic/migrations").glob("[0-9]*.py"))
    (later / "clinic/migrations/9999_rehearsal.py").write_text(LATER.format(names[-1]))
    told = machine.run("Upgrade", STEPS["Upgrade"])
    assert "fault" not in told, told
    machine.wait()
    assert (machine.python(COUNT), machine.python(HAS_TABLE)) == ("3", "True")

    # --- rollback: to what was, and what was entered since is set aside
    machine.python(ADD.format(["B1", "B2"]))
    words = STEPS["Rollback"].splitlines()
    if sqlite:
        words[1] = "mv /var/lib/clinic/clinic.sqlite3 /var/lib/clinic/clinic-failed.sqlite3"
    told = machine.run("Rollback", "\n".join(words))
    machine.wait()
    assert (machine.python(COUNT), machine.python(HAS_TABLE)) == ("3", "False")
    assert "fault" not in machine.run("Doctor", '"$ETC/clinic.sh" doctor')
    figures = {"database": machine.database, "commands": machine.commands, "seconds": machine.seconds}
    record_property("figures", figures)
    print(json.dumps(figures))
