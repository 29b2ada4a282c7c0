"""The papers of an export: a field sheet and a custody record a visit, one record a shipment, one page a site."""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from guide.counted import counted
from guide.desk.export_folder import Folder
from guide.desk.findings import Finding, check_visit
from guide.desk.lab import DeskError, Lab, SiteRow
from guide.desk.progress import progress
from guide.desk.shipments import Shipment, find_shipment, items_of, shipments
from guide.desk.usual import Usual, read_usual
from guide.desk.visits import Others, Sample, load_visit
from guide.papers.csv_tables import Scope
from guide.papers.custody_record import TO_THE_LAB, Custody, Held, custody_record
from guide.papers.datapackage import Written
from guide.papers.field_sheet import field_sheet
from guide.papers.sheet_base import write_new
from guide.papers.summary_page import SHOWN_KINDS, SiteSummary, summary_page
from guide.papers.visit_facts import KINDS, Place, VisitFacts, number, standing
from guide.record.store import DESK

NOT_FROZEN = "not in the record"
_UNSAFE = re.compile(r"[^A-Za-z0-9_-]+")
_HEADS = "SELECT hash, kind, seat FROM log WHERE origin IN (SELECT id FROM origin) AND stream = ? ORDER BY id DESC"


def write_papers(lab: Lab, scope: Scope, folder: Folder) -> Iterator[Written]:
    """Writes all papers of the scope's visits, site by site."""
    usual, sites, name = read_usual(lab.db), lab.sites(), _namer()
    sql = f"SELECT uid, coalesce(site, '') FROM visit WHERE {scope.where} ORDER BY site IS NULL, site, id"
    visits = lab.db.execute(sql, scope.values).fetchall()
    at_site: list[tuple[VisitFacts, list[Finding]]] = []
    for uid, code in progress(visits, len(visits), "papers"):
        if at_site and (at_site[-1][0].visit.site or "") != code:
            yield folder.write(name("summary", at_site[-1][0].place.code, "html"), [_summary(lab, at_site)])
            at_site = []
        facts = visit_facts(lab, uid, sites.get(code), usual)
        yield folder.write(name("field_sheet", facts.visit.code, "pdf"), [field_sheet(facts)])
        yield folder.write(name("custody", facts.visit.code, "pdf"), [custody_record(visit_custody(facts))])
        at_site.append((_for_summary(facts), check_visit(facts.visit)))
    if at_site:
        yield folder.write(name("summary", at_site[-1][0].place.code, "html"), [_summary(lab, at_site)])
    if scope.whole and not scope.practice:
        for shipment in (one for one in shipments(lab) if one.status != "dropped"):
            yield folder.write(name("custody", shipment.code, "pdf"), [custody_record(shipment_custody(lab, shipment))])


def _namer() -> Callable[[str, str, str], str]:
    """Makes file names of codes, whatever is in them, and never the same twice."""
    given: set[str] = set()

    def name(kind: str, code: str, suffix: str) -> str:
        stem = f"{kind}_{_UNSAFE.sub('-', code).strip('-') or 'none'}"[:80]
        number, found = 1, f"{stem}.{suffix}"
        while found.casefold() in given:
            number += 1
            found = f"{stem}_{number}.{suffix}"
        given.add(found.casefold())
        return found

    return name


def visit_facts(lab: Lab, uid: str, site: SiteRow | None, usual: Usual) -> VisitFacts:
    """What papers say of a visit. People's free words are left behind: no paper that leaves has them."""
    visit = load_visit(lab.db, uid, usual)
    visit = replace(visit, entries=tuple(replace(entry, words=None) for entry in visit.entries))
    place = Place(visit.site or "", visit.site or "Site not told")
    if site is not None:
        place = Place(site.code, site.name, site.zone, site.lat, site.lon, site.permit)
    head, closing = "", ""
    for found, kind, seat in lab.db.execute(_HEADS, (uid,)):
        head = head or found
        if kind == "visit_closed" and seat != DESK:  # a close at the desk has no mark: no pair has it
            closing = found
            break
    return VisitFacts(visit, place, lab.settings.name, head, closing)


def _for_summary(facts: VisitFacts) -> VisitFacts:
    """What a site's page shows of a visit; the rest of its log, by far the most, isn't held until the page is made."""
    shown = tuple(entry for entry in facts.visit.entries if entry.kind in SHOWN_KINDS)
    return replace(facts, visit=replace(facts.visit, entries=shown, pool={}, others=Others(), digest=None))


def _summary(lab: Lab, at_site: Sequence[tuple[VisitFacts, list[Finding]]]) -> bytes:
    made_at = f"{lab.now:%Y-%m-%d %H:%M} UTC"
    first = at_site[0][0]
    page = SiteSummary(first.programme, first.place, lab.settings.minimum_mm, at_site, made_at, first.visit.practice)
    return summary_page(page).encode()


# Custody


def visit_custody(facts: VisitFacts) -> Custody:
    """The custody record of a visit's kept samples."""
    visit, place = facts.visit, facts.place
    void = sum(sample.status == "void" for sample in visit.samples)
    return Custody(
        facts.programme,
        visit.code,
        " ".join(["The samples of one visit, from the bank to the lab.", *facts.notices]),
        visit.local_date,
        [("Site", place.name), ("Position", place.position), ("Permit", place.permit), ("Times", f"at {place.zone}")],
        [_held(facts, sample) for sample in visit.kept],
        [(visit.code, facts.head)],
        visit.practice,
        f"{void} void, not handed over." if void else "",
    )


def shipment_custody(lab: Lab, shipment: Shipment) -> Custody:
    """The custody record that goes with a shipment: what is packed, or while nothing is, what is planned."""
    items = [item for item in items_of(lab, shipment) if item.status != "void"]
    items = [item for item in items if item.packed_at] or items
    sites, held, heads = lab.sites(), [], []
    for code in sorted({item.visit for item in items}):
        (uid,) = lab.db.execute("SELECT uid FROM visit WHERE code8 = ?", (code,)).fetchone()
        wanted = {item.uid for item in items if item.visit == code}
        facts = visit_facts(lab, uid, sites.get(next(item.site for item in items if item.visit == code)), Usual())
        held += [_held(facts, sample) for sample in facts.visit.kept if sample.uid in wanted]
        heads.append((code, facts.head))
    ice = f"UN 1845, {shipment.dry_ice_kg} kg net" if shipment.dry_ice_kg else "none"
    facts_above = [
        ("To", ", ".join(filter(None, (lab.settings.lab, *lab.settings.lab_address)))),
        ("Hand-over, planned arrival", f"{shipment.sent_on or shipment.day}, {shipment.arrival}"),
        ("Waybill", shipment.waybill or ""),
        ("Dry ice", ice),
        ("Coolers", ""),
        ("Samples", str(len(held))),
        ("Times", _zones(sites[code] for code in sorted({item.site for item in items}) if code in sites)),
    ]
    about = f"The samples of shipment {shipment.code}. One copy in a dry bag inside each lid, one stays."
    day = shipment.sent_on or shipment.day
    title, steps = f"Shipment {shipment.code}", TO_THE_LAB
    return Custody(lab.settings.name, title, about, day, facts_above, held, heads, hand_overs=steps)


def _held(facts: VisitFacts, sample: Sample) -> Held:
    taken = sample.opened_at or sample.sealed_at or sample.outer_bagged_at
    return Held(
        sample.tag or sample.name,
        KINDS.get(sample.kind, sample.kind),
        number(sample.length_mm),
        "" if sample.family in (None, "unsure") else f"{sample.family}{'' if sample.sure else ' ?'}",
        facts.place.name,
        _day_and_hour(taken, facts.place.zone) or facts.visit.local_date,
        facts.clock(sample.iced_at),
        _day_and_hour(sample.frozen_at, facts.place.zone) or (NOT_FROZEN if sample.kind == "larva" else ""),
        standing(sample),
    )


def _zones(sites: Iterable[SiteRow]) -> str:
    """By which clocks the times on a sheet are told."""
    return f"at {', '.join(dict.fromkeys(site.zone for site in sites))}"


def _day_and_hour(at: datetime | None, zone: str) -> str:
    if at is None:
        return ""
    local = at.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %H:%M}"


def run_sheet(lab: Lab, word: str, to: Path) -> int:
    """``desk ship sheet``: writes the custody record of a shipment, to be signed and to travel with it."""
    shipment = find_shipment(lab, word)
    if shipment.status == "dropped":
        raise DeskError(f"shipment {shipment.code} is dropped: there is nothing to sign for")
    custody = shipment_custody(lab, shipment)
    write_new(to, custody_record(custody))
    held = counted(len(custody.held), "sample")
    print(f"{to}: custody record of {shipment.code}, {held}. Print one for each lid and one to keep.")
    return 0
