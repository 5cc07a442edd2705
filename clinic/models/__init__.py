"""The clinic's nouns, one a file."""

from .account import AccountLink, LinkPurpose, SignIn
from .antibiotic import AntibioticCourse, AntibioticRoute, CourseStop
from .audit import AuditEvent
from .bone import BONE_INFECTED, BoneJudgement, BonePart, BoneState, BoneTreated
from .break_glass import BreakGlass
from .call import CallAbout, CallDone, IncomingCall
from .contact import Contact, ContactHow, ContactResult
from .danger_owner import DangerOwner
from .day_mark import DayMark, MarkKind
from .decision import DecisionKind, DecisionLine
from .episode import Episode
from .erasure import Erasure, ErasurePermit, PersonKey
from .event import Anticoagulant, Event, EventKind
from .fitting import Fitting, StepAnswer
from .foam import SiteFoam
from .insole_outline import InsoleOutline, OutlineHow
from .lesion import (
    OPEN_STATES,
    PLACES,
    TRUE_LESIONS,
    Cause,
    Imprint,
    ImprintHow,
    Lesion,
    LesionOutcome,
    LesionState,
    PlacedBy,
    WoundKind,
    place_words,
)
from .limb import Amputation, Charcot, Deformity, Limb, LimbFinding, Oedema, Pulse, Side, Waveform
from .look import Look
from .measured_map import MapKind, MapTaken, MapUnit, MeasuredMap
from .measurement import (
    INFECTION_SIGNS,
    AreaMethod,
    Debridement,
    Depth,
    Edge,
    Exudate,
    Measurement,
    OtherCause,
    SurroundingSkin,
    Tissue,
    UlcerFindings,
)
from .merge import Merge, PeopleApart
from .non_healing import CareOutcome, ItemState, NonHealingItem, NonHealingReview, NonHealingTopic
from .opening_card import OpeningCard
from .peer import PeerCase, PeerOpinion, PeerReading, PeerRound
from .person import (
    Circumstances,
    DiabetesType,
    Mobility,
    Person,
    PersonState,
    WeighedHow,
    Weight,
)
from .photo import Photo, PhotoConsent, PhotoSubject
from .prescription import (
    AGREES,
    DEVICE_CHOICES,
    OPENED,
    SEALED,
    UNCONFIRMED,
    UNSIGNED,
    Agreement,
    DepartureReason,
    DeviceLeft,
    LimbPlan,
    Prescription,
    StopReason,
    content_digest,
)
from .problem import Problem, ProblemKind
from .reason import PROGRAM, ReasonKind, SiteReason
from .recalibration import Recalibration
from .receipt import FormReceipt
from .record import ClinicalRecord
from .red_flag import FlagAnswer, RedFlag
from .referral import Referral, ReferralTo, Urgency
from .result import RESULT_CHOICES, Result, ResultReading
from .review import ReviewNote
from .saved_report import ReportForm, SavedReport
from .site import Site
from .trace import PhotoScale, Reference, Trace
from .transfer import Transfer, TransferState
from .user import Role, User
from .verification import Verification
from .view_event import ViewBatch, ViewEvent
from .visit import (
    Attendance,
    DeviceCondition,
    Looked,
    Pain,
    Visit,
    VisitFindings,
    VisitState,
    Wear,
)
from .watch import HITS, Found, PlanFlag, PlanFlagCause, WatchFinding, WatchKind, WatchPoint

__all__ = [
    "BONE_INFECTED",
    "RESULT_CHOICES",
    "AntibioticCourse",
    "AntibioticRoute",
    "Anticoagulant",
    "BoneJudgement",
    "BonePart",
    "BoneState",
    "BoneTreated",
    "CareOutcome",
    "CourseStop",
    "ItemState",
    "NonHealingItem",
    "NonHealingReview",
    "NonHealingTopic",
    "Result",
    "ResultReading",
    "HITS",
    "IncomingCall",
    "InsoleOutline",
    "PROGRAM",
    "ReasonKind",
    "Recalibration",
    "SiteReason",
    "Found",
    "PlanFlag",
    "PlanFlagCause",
    "SiteFoam",
    "WatchFinding",
    "WatchKind",
    "WatchPoint",
    "AGREES",
    "Agreement",
    "PeerCase",
    "PeerOpinion",
    "PeerReading",
    "PeerRound",
    "ReportForm",
    "SavedReport",
    "DEVICE_CHOICES",
    "DeviceLeft",
    "INFECTION_SIGNS",
    "OPEN_STATES",
    "PLACES",
    "OPENED",
    "SEALED",
    "TRUE_LESIONS",
    "UNCONFIRMED",
    "UNSIGNED",
    "AccountLink",
    "Amputation",
    "AreaMethod",
    "Attendance",
    "AuditEvent",
    "BreakGlass",
    "CallAbout",
    "CallDone",
    "Cause",
    "Charcot",
    "Circumstances",
    "ClinicalRecord",
    "Contact",
    "ContactHow",
    "ContactResult",
    "Debridement",
    "DangerOwner",
    "DayMark",
    "DecisionKind",
    "DecisionLine",
    "Deformity",
    "DepartureReason",
    "Depth",
    "DeviceCondition",
    "DiabetesType",
    "Episode",
    "Erasure",
    "ErasurePermit",
    "Event",
    "EventKind",
    "Edge",
    "Exudate",
    "Fitting",
    "FormReceipt",
    "FlagAnswer",
    "Imprint",
    "ImprintHow",
    "Lesion",
    "LesionOutcome",
    "LesionState",
    "Limb",
    "LimbFinding",
    "LimbPlan",
    "LinkPurpose",
    "Look",
    "Looked",
    "MapKind",
    "MapTaken",
    "MapUnit",
    "MarkKind",
    "MeasuredMap",
    "Measurement",
    "Merge",
    "Mobility",
    "Oedema",
    "OtherCause",
    "OutlineHow",
    "SurroundingSkin",
    "OpeningCard",
    "Pain",
    "PeopleApart",
    "Person",
    "PersonKey",
    "PersonState",
    "Photo",
    "PhotoConsent",
    "PhotoScale",
    "PhotoSubject",
    "PlacedBy",
    "Prescription",
    "Problem",
    "ProblemKind",
    "Pulse",
    "RedFlag",
    "Reference",
    "Referral",
    "ReferralTo",
    "ReviewNote",
    "Role",
    "Side",
    "SignIn",
    "Site",
    "StepAnswer",
    "StopReason",
    "Tissue",
    "Trace",
    "Transfer",
    "TransferState",
    "UlcerFindings",
    "Urgency",
    "User",
    "Verification",
    "ViewBatch",
    "ViewEvent",
    "Visit",
    "VisitFindings",
    "VisitState",
    "Waveform",
    "Wear",
    "WeighedHow",
    "Weight",
    "WoundKind",
    "content_digest",
    "place_words",
]
