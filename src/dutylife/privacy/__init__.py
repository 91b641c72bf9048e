"""A run under pseudonyms, to be shared: names, tickets and free text go, parts and figures stay."""

from dutylife.privacy.key import KEY_FILE, KEY_VARIABLE, key_in
from dutylife.privacy.names import Pseudonyms
from dutylife.privacy.run_info import anonymous_info, anonymous_settings
from dutylife.privacy.run_tables import anonymous_tables, pseudonyms_for

__all__ = [
    "KEY_FILE", "KEY_VARIABLE", "Pseudonyms", "anonymous_info", "anonymous_settings",
    "anonymous_tables", "key_in", "pseudonyms_for",
]  # fmt: skip
