"""The rows of the message table: id, level, words, cause, source."""

__all__ = ["ROWS"]

PRACTICE = "common practice, no source"
DESIGN = "design choice of this program"
NG19 = "NICE NG19 (read in pages that quote it)"
REVIEWED = "Fernando ME et al., J Foot Ankle Res 2022;15:31, table 5"
RECORD = "the record itself"

ROWS: tuple[tuple[str, str, str, str, str], ...] = (
    # --- This morning and the work list
    ("open_sealed_now", "stop", "open the device now", "sealed device past its day", REVIEWED),
    ("open_sealed_today", "ask", "open the sealed {side} device today", "sealed device on its day", REVIEWED),
    ("answer_flag", "stop", "answer the red flag", "red flag unanswered", NG19),
    ("reach_referral", "stop", "reach them and say so", "referral not reached in time", NG19),
    ("escalate_contact", "stop", "{failed}: pass it on", "person not reached", PRACTICE),
    ("try_to_reach", "ask", "did not come: try to reach", "person not reached", PRACTICE),
    ("try_again", "ask", "{failed}: try again", "person not reached", PRACTICE),
    ("finish_visit", "ask", "finish the visit {who} began", "visit begun and not finished", DESIGN),
    ("sign_plan", "ask", "sign plan", "relief plan not signed", DESIGN),
    ("look_at_plan", "ask", "look at the plan", "relief plan flagged", DESIGN),
    ("log_visit", "note", "log visit", "visit due", DESIGN),
    ("no_weight", "note", "no weight yet", "weight old or missing", PRACTICE),
    ("weight_old", "note", "weight is {weeks} weeks old", "weight old or missing", PRACTICE),
    ("look_waits", "note", "waits for an answer on Review", "look asked for", DESIGN),
    ("look_answered", "note", "read the answer", "look answered", DESIGN),
)
