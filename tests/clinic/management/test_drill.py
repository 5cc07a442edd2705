"""The drill on PostgreSQL: what the address says is kept, and no right to create a database is needed."""

from __future__ import annotations

import json
import subprocess
import tarfile
from urllib.parse import quote

import environ
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.accounts.writes.postgres_copy import FRAMEWORK, conninfo, moved
from clinic.management.commands.drill import beside
from tests import cluster
from tests.object_store import BUCKET, store_running
from tests.security import killing

words = st.text(st.characters(min_codepoint=33, max_codepoint=0x24F), min_size=1, max_size=20)
# django-environ reads an option of digits as a number and stumbles over "²", which no option is.
option_values = words.filter(lambda word: not word.isdigit() or word.isdecimal())


@given(
    user=words,
    password=words,
    host=st.sampled_from(["db.example.org", "10.0.0.7", "[::1]", quote("/run/postgresql", safe="")]),
    options=st.dictionaries(
        st.sampled_from(["sslmode", "sslrootcert", "connect_timeout", "target_session_attrs"]),
        option_values,
    ),
)
def test_an_address_beside_differs_in_the_database_only(user, password, host, options):
    query = "&".join(f"{name}={quote(value, safe='')}" for name, value in options.items())
    url = f"postgres://{quote(user, safe='')}:{quote(password, safe='')}@{host}:5433/clinic?{query}"
    before, after = environ.Env.db_url_config(url), environ.Env.db_url_config(beside(url, "drill_x"))
    assert after == {**before, "NAME": "drill_x"}
    assert before["USER"], before["PASSWORD"] == (user, password)


@given(options=st.dictionaries(st.sampled_from(["sslmode", "sslrootcert", "application_name"]), words))
def test_a_tool_gets_every_option_of_the_address_and_no_password(options):
    from psycopg.conninfo import conninfo_to_dict

    told = {"HOST": "db", "PORT": 5433, "USER": "u", "NAME": "n", "PASSWORD": "secret"}
    told["OPTIONS"] = {**options, **dict.fromkeys(FRAMEWORK, 1)}
    assert conninfo_to_dict(conninfo(told)) == {
        "host": "db",
        "port": "5433",
        "user": "u",
        "dbname": "n",
        **options,
    }


@given(st.lists(st.sampled_from(["1\tpublic.clinic_person", "2\tCOPY public.x FROM stdin;", "3\t\\N", ""])))
def test_rows_pass_as_they_are_into_another_schema(rows):
    script = [
        "CREATE TABLE public.a (x text);",
        "COPY public.a (x) FROM stdin;",
        *rows,
        "\\.",
        "ALTER TABLE public.a;",
    ]
    out = [line.decode() for line in moved([f"{one}\n".encode() for one in script], "drill_1")]
    assert [line.rstrip("\n") for line in out] == [
        'CREATE TABLE "drill_1".a (x text);',
        'COPY "drill_1".a (x) FROM stdin;',
        *rows,
        "\\.",
        'ALTER TABLE "drill_1".a;',
    ]


@pytest.fixture(scope="module")
def server():
    with cluster.running() as one:
        one.sql(
            f"CREATE ROLE \"clinic@1\" LOGIN PASSWORD '{cluster.PASSWORD}'",
            'CREATE DATABASE clinic OWNER "clinic@1"',
        )
        yield one


@pytest.fixture(scope="module")
def filled(server, tmp_path_factory):
    place = killing.Place(tmp_path_factory.mktemp("var"), server.url("clinic@1", "clinic", "?sslmode=prefer"))
    done = place.manage("migrate", "-v0")
    assert done.returncode == 0, done.stderr
    place.ask("prepare", "2")
    return place


@pytest.mark.cluster
@pytest.mark.parametrize("may_create", [False, True])
def test_the_drill_passes_with_and_without_the_right_to_create_a_database(server, filled, may_create):
    server.sql(f'ALTER ROLE "clinic@1" {"CREATEDB" if may_create else "NOCREATEDB"}')
    done = filled.manage("drill", BACKUP_PASSPHRASE="seven purple lanterns")
    assert done.returncode == 0, done.stderr
    assert json.loads((filled.folder / "drills.jsonl").read_text().splitlines()[-1])["passed"]
    # Nothing is left behind.
    left = server.sql("SELECT nspname FROM pg_namespace WHERE nspname LIKE 'drill%'", database="clinic")
    assert not left
    assert not server.sql("SELECT datname FROM pg_database WHERE datname LIKE 'drill%'")


@pytest.mark.cluster
def test_a_trigger_lost_in_a_copy_is_named_though_the_live_one_stands(server, filled, tmp_path):
    # As a drill does: the archive is written first, the scratch schema made for it.
    assert filled.manage("backup", str(tmp_path / "b.tar")).returncode == 0
    server.sql('CREATE SCHEMA copied AUTHORIZATION "clinic@1"', database="clinic")
    elsewhere = {"DATABASE_SESSION": "-c search_path=copied", "VAR_DIR": str(tmp_path / "var")}
    try:
        done = filled.manage("restore", str(tmp_path / "b.tar"), **elsewhere)
        assert done.returncode == 0, done.stderr
        server.sql("DROP TRIGGER clinic_auditevent_no_update ON copied.clinic_auditevent", database="clinic")
        done = filled.manage("verify_audit", **elsewhere)
        assert done.returncode == 1
        assert "clinic_auditevent_no_update is missing" in done.stdout
        assert filled.manage("verify_audit").returncode == 0
    finally:
        server.sql("DROP SCHEMA copied CASCADE", database="clinic")


@pytest.mark.cluster
def test_what_a_broken_drill_left_is_in_no_backup_and_stops_no_later_one(server, filled, tmp_path):
    server.sql('ALTER ROLE "clinic@1" NOCREATEDB')
    server.sql(
        'CREATE SCHEMA drill_left AUTHORIZATION "app@clinic"',
        "CREATE TABLE drill_left.clinic_person (id int)",
        # Not the clinic's own: a dump of all schemas may not even read it.
        "REVOKE ALL ON SCHEMA drill_left FROM PUBLIC",
        database="clinic",
    )
    try:
        done = filled.manage("backup", str(tmp_path / "b.tar"))
        assert done.returncode == 0, done.stderr
        with tarfile.open(tmp_path / "b.tar") as tar:
            (tmp_path / "database.pgdump").write_bytes(tar.extractfile("database.pgdump").read())
        listed = subprocess.run(
            [str(cluster.PROGRAMS / "pg_restore"), "-l", str(tmp_path / "database.pgdump")],
            capture_output=True,
            text=True,
        ).stdout
        assert "TABLE DATA public clinic_person" in listed
        assert "drill_left" not in listed
        done = filled.manage("drill")
        assert done.returncode == 0, done.stderr
    finally:
        server.sql("DROP SCHEMA drill_left CASCADE", database="clinic")


@pytest.mark.cluster
def test_a_record_in_another_schema_is_not_backed_up_as_if_it_were_whole(server, filled, tmp_path):
    server.sql('CREATE SCHEMA elsewhere AUTHORIZATION "clinic@1"', database="clinic")
    try:
        done = filled.manage("backup", str(tmp_path / "b.tar"), DATABASE_SESSION="-c search_path=elsewhere")
        assert done.returncode == 1
        assert "the record lies in schema elsewhere" in done.stderr
        assert not (tmp_path / "b.tar").exists()
    finally:
        server.sql("DROP SCHEMA elsewhere CASCADE", database="clinic")


@pytest.mark.cluster
def test_the_drill_rehearses_the_pictures_of_an_object_store_and_leaves_the_store_alone(server, filled):
    server.sql('ALTER ROLE "clinic@1" CREATEDB')
    with store_running() as store:
        store.client.put_object(Bucket=BUCKET, Key="photos/aa/a.jpg", Body=b"x" * 5000)
        done = filled.manage("drill", **store.environment)
        assert done.returncode == 0, done.stderr
        assert json.loads((filled.folder / "drills.jsonl").read_text().splitlines()[-1])["files"] >= 2
        assert store.names() == ["photos/aa/a.jpg"]


@pytest.mark.cluster
def test_a_role_that_may_create_nothing_is_told_in_one_sentence(server, filled):
    server.sql(
        'ALTER ROLE "clinic@1" NOCREATEDB',
        'ALTER DATABASE clinic OWNER TO "app@clinic"',
        'GRANT ALL ON SCHEMA public TO "clinic@1"',
    )
    try:
        done = filled.manage("drill")
        assert done.returncode == 1
        assert "may create neither a database nor a schema" in done.stderr
        assert "Traceback" not in done.stderr
    finally:
        server.sql('ALTER DATABASE clinic OWNER TO "clinic@1"')
