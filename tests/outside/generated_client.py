#!/usr/bin/env python3
"""A whole competition through a client that a general generator made from /api/openapi.json, as
its user would find it: signing in, a token, competition, gyms, judges, entries, people by
invitation, scores, attestation, standings, a doubt, a ruling and its appeal.

    generated_client.py PATH-TO-tallywright FOLDER-OF-THE-CLIENT

FOLDER is what `openapi-python-client generate` wrote from the document; of CSV and TOML bodies it
says that it does not know them. Every answer is looked at as the type that the client gives it.
Exit 1 at the first that is wrong.
"""

import datetime
import sys

from service import service

sys.path.insert(0, sys.argv[2])

from tallywright_client import AuthenticatedClient, Client, models as m  # noqa: E402
from tallywright_client.api.accounts import add_account  # noqa: E402
from tallywright_client.api.competitions import apply_competition, get_competition  # noqa: E402
from tallywright_client.api.entries import add_entries, list_entries  # noqa: E402
from tallywright_client.api.gyms import add_gyms  # noqa: E402
from tallywright_client.api.judges import add_judges  # noqa: E402
from tallywright_client.api.me import issue_token, show_me  # noqa: E402
from tallywright_client.api.referees import flag_score, list_rulings, rule_on_score  # noqa: E402
from tallywright_client.api.scores import appeal_ruling, attest_score, check_score, get_history, get_score, put_score  # noqa: E402
from tallywright_client.api.session import sign_in  # noqa: E402
from tallywright_client.api.standings import get_entry_standing, get_places, get_standings  # noqa: E402

C, W = "tideline", "w1"


def took(answer, status, kind):
    """What came with an answer of this status, as this type."""
    assert answer.status_code == status, f"{answer.status_code} instead of {status}: {answer.content.decode()}"
    assert isinstance(answer.parsed, kind), f"{type(answer.parsed).__name__} instead of {kind.__name__}"
    return answer.parsed


def refused(answer, status, code):
    """A problem of this status whose faults name this code."""
    problem = took(answer, status, m.ProblemBody)
    codes = {problem.code} | {error.code for error in problem.errors or []}
    assert code in codes, f"{code} is not in {codes}"
    return problem


def competition():
    """A competition whose workout runs now."""
    now = datetime.datetime.now(datetime.timezone.utc).replace(microsecond=0, tzinfo=None)
    day = datetime.timedelta(days=1)
    return {
        "competition": {"slug": C, "title": "Tideline Series", "time_zone": "UTC", "age_date": "2027-01-15"},
        "division": [
            {"slug": "women", "title": "Women", "category": "women"},
            {"slug": "men", "title": "Men", "category": "men"},
        ],
        "workout": [
            {
                "slug": W,
                "title": "Ebb and Flow",
                "format": "amrap",
                "cap": "12:00",
                "opens": (now - day).isoformat(),
                "closes": (now + 3 * day).isoformat(),
                "attest_by": (now + 4 * day).isoformat(),
                "tiebreak": "each_round",
                "stations": [{"movement": "kettlebell swing", "reps": 20}, {"movement": "row", "calories": 10}],
                "repeat": "round",
                "standards": "Hips straight at the top of every swing.",
                "prescription": [{"divisions": ["women", "men"], "loads": [{"item": "kettlebell", "kg": 16, "lb": 35}]}],
            }
        ],
    }


def main():
    with service(sys.argv[1]) as it:
        # Signed in with a password, as a page would be; from then on with a token.
        page = {"Origin": it.url}
        visitor = Client(base_url=it.url, headers=page)
        refused(sign_in.sync_detailed(client=visitor, body=m.Credentials(email=it.email, password="not this one")), 401, "wrong_sign_in")
        took(sign_in.sync_detailed(client=visitor, body=m.Credentials(email=it.email, password=it.password)), 201, m.SessionView)
        token = took(issue_token.sync_detailed(client=visitor, body=m.NewToken(name="import")), 201, m.IssuedToken)
        organiser = AuthenticatedClient(base_url=it.url, token=token.token)
        assert took(show_me.sync_detailed(client=organiser), 200, m.MeView).email == it.email

        # The competition: first what would change, then for good; what is wrong with it is told at once.
        wrong = competition()
        wrong["workout"][0]["cap"] = "soon"
        body = m.ApplyCompetitionJsonBody.from_dict(wrong)
        took(apply_competition.sync_detailed(C, client=organiser, body=body), 422, m.ProblemBody)
        body = m.ApplyCompetitionJsonBody.from_dict(competition())
        assert took(apply_competition.sync_detailed(C, client=organiser, body=body, dry_run=True), 200, m.AppliedView).dry_run
        assert took(apply_competition.sync_detailed(C, client=organiser, body=body), 201, m.AppliedView).created
        seen = took(get_competition.sync_detailed(C, client=Client(base_url=it.url)), 200, m.CompetitionView)
        assert [d.slug for d in seen.divisions] == ["women", "men"] and seen.workouts[0].title == "Ebb and Flow"

        # Gyms, a judge, entries: one as an object, many as a list.
        gym = m.Gym(slug="quayside", name="Quayside Hall", country="PT")
        took(add_gyms.sync_detailed(C, client=organiser, body=gym), 201, m.RosterWritten)
        judge = m.Judge(code="J-1", name="Rita Alves", gym="quayside", valid_from=datetime.date(2020, 1, 1), valid_to=datetime.date(2099, 12, 31))
        took(add_judges.sync_detailed(C, client=organiser, body=judge), 201, m.RosterWritten)
        women = [
            m.Entry(bib=1001 + n, name=name, born=datetime.date(1990 + n, 5, 2), category="women", division="women", gym="quayside")
            for n, name in enumerate(["Ines Duarte", "Marta Vale", "Joana Reis"])
        ]
        told = took(add_entries.sync_detailed(C, client=organiser, body=women), 200, m.ImportView)
        assert told.taken == 3 and told.refused == 0, told
        men = [
            m.Entry(bib=1004, name="Rui Costa", born=datetime.date(1991, 3, 4), category="men", division="men", gym="quayside"),
            m.Entry(bib=1005, name="Pedro Luz", born=datetime.date(1991, 3, 5), category="men", division="men", gym="nowhere"),
        ]
        told = took(add_entries.sync_detailed(C, client=organiser, body=men), 200, m.ImportView)
        assert told.taken == 1 and told.refused == 1 and told.rows[0].errors, told
        listed = list_entries.sync_detailed(C, client=organiser)
        assert {e.bib for e in listed.parsed} == {1001, 1002, 1003, 1004}, listed

        # Staff and a referee by invitation: the link's code signs in, and a token comes of it.
        def invited(email, role, **more):
            grant = m.RoleView(role=role, competition=C, **more)
            sent = took(add_account.sync_detailed(client=organiser, body=m.Invitation(email=email, roles=[grant])), 201, m.Invited)
            session = Client(base_url=it.url, headers=page)
            code = sent.link.split("code=")[1]
            took(sign_in.sync_detailed(client=session, body=m.Credentials(code=code)), 201, m.SessionView)
            refused(sign_in.sync_detailed(client=Client(base_url=it.url), body=m.Credentials(code=code)), 401, "wrong_sign_in")
            issued = took(issue_token.sync_detailed(client=session, body=m.NewToken(name="desk")), 201, m.IssuedToken)
            return AuthenticatedClient(base_url=it.url, token=issued.token)

        staff = invited("staff@quayside.example", m.RoleName.STAFF, gym="quayside")
        referee = invited("referee@series.example", m.RoleName.REFEREE)

        # Scores: checked, stored, stored again under their key, attested, corrected.
        checked = took(check_score.sync_detailed(C, W, 1001, client=staff, body=m.Score(performance="6+14 tb 11:24")), 200, m.CheckView)
        assert checked.fits and checked.places[0].place == 1, checked
        vouched = m.Attestation(judge="J-1", how=m.How.PAPER_SHEET, sheet="B7")
        first = m.Score(performance="6+14 tb 11:24", attestation=vouched)
        stored = took(put_score.sync_detailed(C, W, 1001, client=staff, body=first, idempotency_key="desk-1"), 201, m.ScoreView)
        again = took(put_score.sync_detailed(C, W, 1001, client=staff, body=first, idempotency_key="desk-1"), 201, m.ScoreView)
        assert stored.state == "attested" and stored.etag == again.etag and stored.places[0].place == 1, stored
        refused(put_score.sync_detailed(C, W, 1002, client=staff, body=m.Score(performance="6+30")), 422, "whole_round")
        figures = m.Figures(rounds=7, reps=3, tiebreak="11:40")
        second = took(put_score.sync_detailed(C, W, 1002, client=staff, body=m.Score(performance=figures)), 201, m.ScoreView)
        assert second.state == "entered" and second.performance.text == "7+3 tb 11:40", second
        second = took(attest_score.sync_detailed(C, W, 1002, client=staff, body=vouched, if_match=f'"{second.etag}"'), 200, m.ScoreView)
        assert second.state == "attested"
        refused(put_score.sync_detailed(C, W, 1001, client=staff, body=m.Score(performance="6+15 tb 11:24")), 428, "if_match_required")
        old = put_score.sync_detailed(C, W, 1001, client=staff, body=m.Score(performance="6+15 tb 11:24"), if_match='"1"')
        assert took(old, 412, m.ProblemBody).current["etag"] == stored.etag
        third = took(put_score.sync_detailed(C, W, 1003, client=staff, body=m.Score(performance="5+1 tb 10:02", attestation=vouched)), 201, m.ScoreView)
        assert third.places[0].place == 3 and third.places[0].of == 3

        # Standings, as nobody: typed rows with gaps and texts.
        nobody = Client(base_url=it.url)
        table = took(get_standings.sync_detailed(C, "women", client=nobody, at_least=third.log_seq), 200, m.StandingsView)
        assert [(r.standing, r.bib, r.points) for r in table.rows] == [(1, 1002, 1), (2, 1001, 2), (3, 1003, 3)], table
        assert table.rows[0].workouts[0].text == "7+3 tb 11:40"
        places = took(get_places.sync_detailed(C, "women", W, client=nobody), 200, m.PlacesView)
        assert [r.place for r in places.rows] == [1, 2, 3]
        own = took(get_entry_standing.sync_detailed(C, 1001, client=nobody), 200, m.EntryStandingView)
        assert own.bib == 1001 and own.overall[0].place == 2, own

        # A doubt, a ruling, an appeal and its decision; all of it public.
        doubt = m.Flag(reason=m.FlagReason.COUNT, note="Two reps short in the last round.")
        refused(flag_score.sync_detailed(C, W, 1002, client=staff, body=doubt, if_match=f'"{second.etag}"'), 403, "not_a_free_referee")
        flagged = took(flag_score.sync_detailed(C, W, 1002, client=referee, body=doubt, if_match=f'"{second.etag}"'), 200, m.ScoreView)
        assert flagged.state == "flagged" and flagged.flag.reason == "count"
        ruling = m.Ruling(kind=m.RulingKind.DEDUCT, reps=24, no_tiebreak=True, reason="Twenty-four reps did not meet the standard.")
        ruled = took(rule_on_score.sync_detailed(C, W, 1002, client=referee, body=ruling, if_match=f'"{flagged.etag}"'), 200, m.ScoreView)
        assert ruled.state == "amended" and ruled.performance.total_reps == 189, ruled
        table = took(get_standings.sync_detailed(C, "women", client=nobody, at_least=ruled.log_seq), 200, m.StandingsView)
        assert [r.bib for r in table.rows] == [1001, 1002, 1003], table
        appealed = appeal_ruling.sync_detailed(C, W, 1002, client=staff, body=m.Reason(reason="The video shows them."), if_match=f'"{ruled.etag}"')
        appealed = took(appealed, 200, m.ScoreView)
        assert appealed.appeal and not appealed.appeal.decided
        restore = m.Ruling(kind=m.RulingKind.RESTORE, on_appeal=True, reason="Seen again: they count.")
        refused(rule_on_score.sync_detailed(C, W, 1002, client=referee, body=restore, if_match=f'"{appealed.etag}"'), 403, "appeal_by_another_referee")
        final = took(rule_on_score.sync_detailed(C, W, 1002, client=organiser, body=restore, if_match=f'"{appealed.etag}"'), 200, m.ScoreView)
        assert final.performance.text == "7+3 tb 11:40" and final.appeal.decided
        assert took(get_score.sync_detailed(C, W, 1002, client=nobody), 200, m.ScoreWithAttempts).etag == final.etag
        history = took(get_history.sync_detailed(C, W, 1002, client=nobody), 200, m.HistoryView)
        assert [i.action for i in history.items if i.action in {"flagged", "ruled", "appealed"}] == ["flagged", "ruled", "appealed", "ruled"], history
        assert len(took(list_rulings.sync_detailed(C, client=nobody), 200, m.RulingsView).rulings) == 2
        print("a competition through a generated client: all as its types say")


main()
