"""Invented checks for the ledger's tests are those of the campaigns."""

from recorded.invented import job as job
from recorded.invented import record_check as record_check
from recorded.invented import result as result
