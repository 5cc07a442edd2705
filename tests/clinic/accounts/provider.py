"""A hospital's OpenID Connect provider, run in this process: it answers as the test says."""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
import threading
import time
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "offloading-clinic", "a-secret-of-the-client"
KEY = RSAKey.generate_key(2048, {"kid": "one", "use": "sig", "alg": "RS256"})
STRANGER = RSAKey.generate_key(2048, {"kid": "one", "use": "sig", "alg": "RS256"})


@dataclass
class Provider:
    """What it says of the one person who signs on; `change` spoils the claims, `key` the signature."""

    url: str = ""
    claims: dict[str, Any] = field(default_factory=dict)
    change: Callable[[dict[str, Any]], dict[str, Any]] = lambda claims: claims
    header: dict[str, str] = field(default_factory=lambda: {"alg": "RS256", "kid": "one"})
    key: Any = field(default_factory=lambda: KEY)
    answer: dict[str, tuple[int, str]] = field(default_factory=dict)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)

    def authorize(self, asked: dict[str, str]) -> str:
        """The person signs on there: back with a code, once."""
        code = secrets.token_urlsafe(16)
        self.codes[code] = asked
        return f"{asked['redirect_uri']}?{urlencode({'code': code, 'state': asked['state']})}"

    def token(self, sent: dict[str, str], basic: str) -> tuple[int, dict[str, Any]]:
        asked = self.codes.pop(sent.get("code", ""), None)
        given = base64.b64decode(basic.removeprefix("Basic ")).decode() if basic else ""
        proof = hashlib.sha256(sent.get("code_verifier", "").encode()).digest()
        challenge = base64.urlsafe_b64encode(proof).decode().rstrip("=")
        if asked is None or challenge != asked["code_challenge"] or given != f"{CLIENT}:{SECRET}":
            return 400, {"error": "invalid_grant"}
        now = int(time.time())
        claims = {
            "iss": self.url,
            "aud": CLIENT,
            "iat": now,
            "exp": now + 300,
            "nonce": asked["nonce"],
            # Asked for a sign-on of this moment, it says when that was.
            **({"auth_time": now} if "max_age" in asked else {}),
            **self.claims,
        }
        if self.header["alg"] == "none":
            parts = [self.header, self.change(claims)]
            words = [base64.urlsafe_b64encode(json.dumps(one).encode()).decode().rstrip("=") for one in parts]
            token = f"{words[0]}.{words[1]}."
        else:
            token = jwt.encode(self.header, self.change(claims), self.key)
        return 200, {"access_token": "x", "token_type": "Bearer", "expires_in": 300, "id_token": token}

    def metadata(self) -> dict[str, Any]:
        return {
            "issuer": self.url,
            "authorization_endpoint": f"{self.url}/authorize",
            "token_endpoint": f"{self.url}/token",
            "jwks_uri": f"{self.url}/keys",
            "id_token_signing_alg_values_supported": ["RS256"],
            "token_endpoint_auth_methods_supported": ["client_secret_basic"],
        }


@contextmanager
def running():
    provider = Provider()

    class Answers(BaseHTTPRequestHandler):
        def _say(self, status, body):
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.end_headers()
            self.wfile.write(body.encode())

        def do_GET(self):
            path = urlsplit(self.path).path
            if path in provider.answer:
                return self._say(*provider.answer[path])
            told = {
                "/.well-known/openid-configuration": provider.metadata,
                "/keys": lambda: {"keys": [KEY.as_dict(private=False)]},
            }
            return self._say(200, json.dumps(told[path]()))

        def do_POST(self):
            if "/token" in provider.answer:
                return self._say(*provider.answer["/token"])
            text = self.rfile.read(int(self.headers["Content-Length"])).decode()
            sent = {name: value[0] for name, value in parse_qs(text).items()}
            status, told = provider.token(sent, self.headers.get("Authorization", ""))
            return self._say(status, json.dumps(told))

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    provider.url = f"http://127.0.0.1:{server.server_port}"
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
