"""``desk accept``: the desk has looked at a visit, and its samples may go to the lab."""

from datetime import datetime

from guide.counted import counted
from guide.desk.findings import Finding, check_visit
from guide.desk.visits import VisitError, append_at_desk, load_visit, visit_uid
from guide.record.log import Entry
from guide.record.store import Store


class NotAcceptedError(VisitError):
    """A visit has findings of the serious sort; ``findings`` are those."""

    def __init__(self, code: str, findings: list[Finding]) -> None:
        self.findings = findings
        said = "; ".join(finding.what for finding in findings[:3])
        more = f"; and {len(findings) - 3} more" if len(findings) > 3 else ""
        super().__init__(
            f"visit {code} is not accepted, {said}{more}. Put it right (desk visit {code} shows how), "
            "or say why it may stand: --anyway REASON"
        )


def accept_visit(store: Store, code: str, anyway: str | None, now: datetime) -> str:
    """Accepts a closed visit; returns a sentence. Raises NotAcceptedError while serious findings stand."""
    with store.transaction():
        visit = load_visit(store.db, visit_uid(store.db, code))
        if visit.status != "closed":
            raise VisitError(
                f"visit {visit.code} is still open: it can be accepted when the group has closed it. Where nobody "
                f"texts any more: wadeline desk close {visit.code} --reason WHY"
            )
        if visit.accepted_at:
            return f"visit {visit.code} was accepted {visit.accepted_at:%Y-%m-%d %H:%M} UTC; nothing has changed since"
        serious = [finding for finding in check_visit(visit) if finding.serious]
        if serious and not (anyway or "").strip():
            raise NotAcceptedError(visit.code, serious)
        data = {"samples": len(visit.kept), "standing": sorted({finding.check for finding in serious})}
        words = anyway.strip() if anyway and serious else None
        append_at_desk(store, visit.uid, [Entry("accepted", "desk.accept", data, words=words)], now)
    standing = f", with {counted(len(serious), 'serious finding')} standing" if serious else ""
    return f"visit {visit.code} is accepted: {counted(len(visit.kept), 'sample')}{standing}"
