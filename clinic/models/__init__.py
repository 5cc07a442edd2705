"""The clinic's nouns, one a file."""

from .account import AccountLink, LinkPurpose, SignIn
from .audit import AuditEvent
from .break_glass import BreakGlass
from .contact import Contact, ContactHow, ContactResult
from .decision import DecisionKind, DecisionLine
from .episode import Episode
from .erasure import Erasure, ErasurePermit, PersonKey
from .event import PERFUSION_EVENTS, Event, EventKind
from .fitting import Fitting, StepAnswer
from .foam import SiteFoam
from .inquiry import Inquiry, InquiryAnswer, InquiryOutcome, InquiryTopic
from .lesion import (
    OPEN_STATES,
    PLACES,
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
from .limb import Amputation, Charcot, Deformity, Limb, LimbFinding, Oedema, Pulse, Side
from .look import Look
from .measured_map import MapKind, MapUnit, MeasuredMap
from .measurement import (
    INFECTION_SIGNS,
    AreaMethod,
    Debridement,
    Depth,
    Exudate,
    Measurement,
    Tissue,
    UlcerFindings,
)
from .merge import Merge, PeopleApart
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
    SEALED,
    UNSIGNED,
    Agreement,
    DepartureReason,
    LimbPlan,
    Prescription,
    StopReason,
    content_digest,
)
from .problem import Problem, ProblemKind
from .reason import PROGRAM, ReasonKind, SiteReason
from .record import ClinicalRecord
from .red_flag import FlagAnswer, RedFlag
from .referral import Referral, ReferralTo, Urgency
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
    "PERFUSION_EVENTS",
    "HITS",
    "PROGRAM",
    "ReasonKind",
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
    "INFECTION_SIGNS",
    "OPEN_STATES",
    "PLACES",
    "SEALED",
    "UNSIGNED",
    "AccountLink",
    "Amputation",
    "AreaMethod",
    "Attendance",
    "AuditEvent",
    "BreakGlass",
    "Cause",
    "Charcot",
    "Circumstances",
    "ClinicalRecord",
    "Contact",
    "ContactHow",
    "ContactResult",
    "Debridement",
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
    "Exudate",
    "Fitting",
    "FlagAnswer",
    "Imprint",
    "ImprintHow",
    "Inquiry",
    "InquiryAnswer",
    "InquiryOutcome",
    "InquiryTopic",
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
    "MapUnit",
    "MeasuredMap",
    "Measurement",
    "Merge",
    "Mobility",
    "Oedema",
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
    "Wear",
    "WeighedHow",
    "Weight",
    "WoundKind",
    "content_digest",
    "place_words",
]
