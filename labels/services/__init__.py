"""What this app does: packing, release, supply, and its papers; each function is one action."""

from labels.services.answers import PackAnswer
from labels.services.approving import approve_to_pack, shown_for_approve_to_pack
from labels.services.certifying import draft_certificate
from labels.services.labelling import account_label, draft_label, issue_label
from labels.services.packing import close_pack, fill_pack, second_scan, start_pack
from labels.services.papers import PaperAnswer, plate_map, trace_report, weighing_sheet
from labels.services.release import quarantine_pack, reject_pack, release_pack, release_record
from labels.services.supply import destroy_pack, supply_pack, take_back_pack

__all__ = [
    "PackAnswer",
    "PaperAnswer",
    "account_label",
    "approve_to_pack",
    "close_pack",
    "destroy_pack",
    "draft_certificate",
    "draft_label",
    "fill_pack",
    "issue_label",
    "plate_map",
    "quarantine_pack",
    "reject_pack",
    "release_pack",
    "release_record",
    "second_scan",
    "shown_for_approve_to_pack",
    "start_pack",
    "supply_pack",
    "take_back_pack",
    "trace_report",
    "weighing_sheet",
]
