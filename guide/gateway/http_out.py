"""Texts out over HTTP: one call for one text, its fields named as the gateway names them."""

from urllib.parse import quote

import httpx

from guide.gateway.outbox import Waiting
from guide.gateway.sender import Handed
from guide.gateway.serve_settings import TextsOut
from guide.talk.sms import is_gsm7

_OVER = (200, 201, 202, 204)
_CONNECTIONS = 16


class HttpCarrier:
    """Calls the gateway's address. ``number`` is ours, as the sender; ``secret`` proves us."""

    def __init__(self, rules: TextsOut, number: str, secret: str, report_url: str = "", report_query: str = "") -> None:
        self.rules, self.number, self.secret = rules, number, secret
        self.report_url, self.report_query = report_url, report_query
        limits = httpx.Limits(max_connections=_CONNECTIONS, max_keepalive_connections=_CONNECTIONS)
        self._client = httpx.AsyncClient(
            timeout=rules.timeout_s, limits=limits, headers=dict(rules.headers), follow_redirects=False, trust_env=False
        )

    async def hand(self, text: Waiting) -> Handed:
        """Hands over one text: 2xx is taken, a status that says this text is wrong is never, all else is later."""
        fields = self.fields(text)
        headers = {self.rules.secret_field: self.secret} if self._secret_in("header") else {}
        sent = {"query": "params", "form": "data", "json": "json"}[self.rules.body]
        try:
            answer = await self._client.request(
                self.rules.method,
                self.rules.url,
                headers=headers,
                **{sent: fields},  # type: ignore[arg-type]
            )
        except httpx.HTTPError as error:
            what = "took too long" if isinstance(error, httpx.TimeoutException) else "can't be reached"
            return Handed("later", f"the gateway at {self.rules.url.split('?')[0]} {what}")
        if answer.status_code in _OVER:
            return Handed("taken")
        why = f"the gateway answers {answer.status_code}: {_short(answer.text)}"
        return Handed("never" if answer.status_code in self.rules.wrong_statuses else "later", why)

    def fields(self, text: Waiting) -> dict[str, str]:
        """The fields of one text."""
        ours = {"id": f"t{text.id}", "from": self.number, "to": text.number, "text": text.text}
        names = self.rules.names
        fields = {names[name]: value for name, value in ours.items() if names.get(name)}
        wide = {} if is_gsm7(text.text) else self.rules.wide_fields
        for name, value in {**self.rules.fields, **wide}.items():
            fields[name] = value.replace("{report_url}", self._report_url(text))
        if self._secret_in("field"):
            fields[self.rules.secret_field] = self.secret
        return {name: value for name, value in fields.items() if value}

    def _secret_in(self, place: str) -> bool:
        return bool(self.rules.secret_field) and self.rules.secret_in == place

    def _report_url(self, text: Waiting) -> str:
        """Where reports of one text go: ours, with its id; ``%d`` stands where the gateway puts the status."""
        return f"{self.report_url}?id=t{text.id}&status=%d{self.report_query}"

    async def close(self) -> None:
        """Closes the connections."""
        await self._client.aclose()


def report_query(name: str, secret: str) -> str:
    """The token as it goes into the address of reports."""
    return f"&{quote(name)}={quote(secret, safe='')}"


def _short(answer: str) -> str:
    return " ".join("".join(char if char.isprintable() else " " for char in answer[:80]).split())
