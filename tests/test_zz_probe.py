import base64, json, uuid
from harness import on_both_engines
from weirbook.web.pages import cursor_at

def say(name, r):
    print(f"{name:60} {r.status_code} {r.get_data(as_text=True)[:230]!r}")

@on_both_engines
def test_probe(furnished, caller):
    k = furnished
    say("nul in path", k.get("/v1/tanks/a%00b"))
    say("nul in parameter path", k.get("/v1/parameters/a%00b"))
    say("surrogate in path", k.get("/v1/tanks/%ED%A0%80"))
    say("bad utf8 q", k.get("/v1/journal?q=%FF"))
    say("surrogate q", k.get("/v1/journal?q=%ED%A0%80"))
    say("lone surrogate body", k("POST", "/v1/journal", b'{"words": "\\ud800"}', Content_Type="application/json"))
    say("key query surrogate", caller(None).get("/v1/tanks?format=csv&key=%ED%A0%80"))
    for c in ([2**40], [2**52], [-5], ["x"], [1.5], [True], [None], [1,2], {}, [10**30]):
        say(f"cursor {c}", k.get("/v1/tanks?cursor="+base64.urlsafe_b64encode(json.dumps(c).encode()).decode().rstrip("=")))
    say("jcursor", k.get("/v1/journal?cursor="+cursor_at([2**52, "x"])))
    say("jcursor2", k.get("/v1/journal?cursor="+cursor_at([2**52, str(uuid.uuid4())])))
    say("rcursor", k.get("/v1/readings?gauge=nursery-temperature&cursor="+cursor_at([2**52, 5])))
    say("rcursor", k.get("/v1/readings?gauge=nursery-temperature&cursor="+cursor_at([2, 2**52])))
    for t in ("0001-01-01T00:00:00%2B23:59","0001-01-01T00:00:00Z","9999-12-31T23:59:59-23:59","9999-12-31T23:59:59Z"):
        say("happened_at", k.post("/v1/journal", {"words":"x","happened_at":t.replace("%2B","+")}))
        say("valid_from", k.post("/v1/targets", {"place":"room","parameter":"temperature","low":"1 degC","valid_from":t.replace("%2B","+")}))
        say("retired_at", k.patch("/v1/systems/rill", {"retired_at":t.replace("%2B","+")}))
        say("from", k.get(f"/v1/readings?gauge=nursery-temperature&to={t}"))
        say("from", k.get(f"/v1/readings?gauge=nursery-temperature&to={t}&every=1d"))
        say("from", k.get(f"/v1/readings?gauge=nursery-temperature&from={t}&every=1h"))
        say("at", k.get(f"/v1/systems/rill/answers/turnover?at={t}"))
    k.patch("/v1/systems/rill", {"retired_at":None})
    for w in ("0001-W01","9999-W52","2026-W54","2026-W00","0000-W01"):
        say(w, k.get(f"/v1/summaries/weekly?week={w}"))
    say("text tanks", k.get("/v1/systems/rill/answers/turnover?format=text&result=tanks"))
    say("text unknown", k.get("/v1/systems/rill/answers/turnover?format=text&result=zz"))
    say("text", k.get("/v1/systems/rill/answers/turnover?format=text&result=turnovers_per_hour"))
    say("text unit", k.get("/v1/systems/rill/answers/turnover?format=text&result=time_to_63&unit=h"))
    say("text bad unit", k.get("/v1/systems/rill/answers/turnover?format=text&result=time_to_63&unit=L"))
    e = k.post("/v1/exclusions", {"gauge":"nursery-temperature","from":"2026-11-01T00:00:00Z","to":"2026-11-02T00:00:00Z","reason":"x"})
    say("excl", e)
    say("excl patch", k.patch("/v1/exclusions/"+e.json["id"], {"reason":"y"}))
    u = f"/v1/exclusions/{uuid.uuid4()}"
    b = {"gauge":"nursery-temperature","from":"2026-11-01T00:00:00Z","to":"2026-11-02T00:00:00Z","reason":"x"}
    say("excl put", k("PUT", u, b)); say("excl put", k("PUT", u, b))
    u = f"/v1/journal/{uuid.uuid4()}"
    say("j put", k("PUT", u, {"words":"a"})); say("j put", k("PUT", u, {"words":"a"}))
    long = "s"*60
    say("long sump", k.post("/v1/sumps", {"name":"x","handle":long,"system":"rill","length":"100 cm","width":"45 cm","height":"45 cm"}))
    say("long section", k.post("/v1/sections", {"sump":long,"position":1,"use":"planted-floating","direction":"along","length":"30 cm"}))
    say("param PH!", k.post("/v1/parameters", {"name":"PH!","kind":"score","join":"plain"}))
    say("curve 60", k.post("/v1/pumps", {"name":"c","to_tank":"nursery","curve":[{"head":f"{60-i} m","flow":f"{i} L/h"} for i in range(60)]}))
    for raw in (b'{"name": NaN}', b'{"name": 1e400}', b'{"position": 1'+b'0'*400+b'}', b'['*100000, b'{"a":'*5000+b'1'+b'}'*5000, b'', b'null', b'[]', b'"x"', b'\xff\xfe', b'{"name":"\xed\xa0\x80"}'):
        say(str(raw[:20]), k("POST", "/v1/systems", raw, Content_Type="application/json"))
        say("R "+str(raw[:20]), k("POST", "/v1/readings", raw, Content_Type="application/json"))
        say("P "+str(raw[:20]), k("PATCH", "/v1/systems/rill", raw, Content_Type="application/json", If_Match="*"))
    say("inm", k.get("/v1/systems/rill", If_None_Match='*'))
    say("inm", k.get("/v1/systems/rill", If_None_Match='"9","1","3","5"'))
    say("dupformat", k.get("/v1/systems?format=csv&format=json"))
    say("docs/", k.get("/docs/"))
    say("huge int value", k("POST", "/v1/readings", b'{"gauge":"nursery-temperature","value":1'+b'0'*400+b'}', Content_Type="application/json"))
    say("int64+", k("POST", "/v1/readings", b'{"gauge":"nursery-temperature","value":99999999999999999999}', Content_Type="application/json"))
    say("nested", k.post("/v1/systems", {"name": {"a": {"b": [1]}}}))
    say("q int", k.post("/v1/sumps", b'{"name":"x","system":"rill","length":1e999,"width":"45 cm","height":"45 cm"}', Content_Type="application/json"))
    say("system filter pumps", k.get("/v1/pumps?system=rill"))
    say("keys list", k.get("/v1/keys"))
    say("token nonascii", k.post("/v1/systems", {"name":"z"}, Idempotency_Key="é"))
    say("pos bool", k.post("/v1/sections", {"sump":"rack","position":True,"use":"other","direction":"along","length":"30 cm"}))
    say("pos huge", k("POST", "/v1/sections", b'{"sump":"rack","position":99999999999999999999999,"use":"other","direction":"along","length":"30 cm"}', Content_Type="application/json"))
    say("at epoch", k.get("/v1/systems/rill/answers/turnover?at=1970-01-01T00:00:00Z"))
    say("room pu", k.patch("/v1/room", {"preferred_units": {"volume": "gal"}}))
    say("room pu", k.patch("/v1/room", {"preferred_units": {"\u0000": "gal"}}))
    say("room pu", k.patch("/v1/room", {"time_zone": "a\u0000b"}))
    say("room pu", k.patch("/v1/room", {"time_zone": "../../etc/passwd"}))
    say("room pu", k.patch("/v1/room", {"time_zone": "Europe"}))
    say("room pu", k.patch("/v1/room", {"time_zone": "localtime"}))
