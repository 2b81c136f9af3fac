"""Everything that can be done with patients, substances and orders: one function, one action."""

from prescriptions.services.changing import (
    amend_order,
    amend_shown,
    answer_order,
    query_order,
    resubmit_order,
    return_order,
    stop_order,
)
from prescriptions.services.checking import give_reason, open_alerts, verify_order, verify_shown
from prescriptions.services.importing import ImportAnswer, ImportedOrder, import_file, import_orders
from prescriptions.services.ordering import attest_order, enter_order, order_record, order_shown, sign_order
from prescriptions.services.patients import (
    PatientNames,
    correct_patient,
    measure_patient,
    register_patient,
    reveal_patient,
)
from prescriptions.services.reserving import free_line, reserve_line
from prescriptions.services.screens import record_screen, screen_again, screen_received
from prescriptions.services.substances import set_up_substance
from prescriptions.services.versions import OrderAnswer
from prescriptions.substance_facts import LimitFacts, OtherName, SubstanceFacts

__all__ = [
    "ImportAnswer",
    "ImportedOrder",
    "LimitFacts",
    "OrderAnswer",
    "OtherName",
    "PatientNames",
    "SubstanceFacts",
    "amend_order",
    "amend_shown",
    "answer_order",
    "attest_order",
    "correct_patient",
    "enter_order",
    "free_line",
    "give_reason",
    "import_file",
    "import_orders",
    "measure_patient",
    "open_alerts",
    "order_record",
    "order_shown",
    "query_order",
    "record_screen",
    "register_patient",
    "reserve_line",
    "resubmit_order",
    "return_order",
    "reveal_patient",
    "screen_again",
    "screen_received",
    "set_up_substance",
    "sign_order",
    "stop_order",
    "verify_order",
    "verify_shown",
]
