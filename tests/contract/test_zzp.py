from harness import Caller
def test_x(keeper):
    t={"kind":"score","join":"plain"}
    for b in ({"name":"Mine","handle":"temperature"},{"name":"temperature"},{"name":"ph"}):
        r=keeper.post("/v1/parameters",{**b,**t}); print(r.status_code,r.get_data(as_text=True)[:300])
