"""Load a firing on the page: what the studio is willing to change, ticked and remembered."""

from helpers.bench import Visitor, bench

from runpredict.answers.willing import AS_DELIVERED, kept_willing


def test_what_is_ticked_is_remembered_and_is_all_that_is_told(tmp_path):
    with bench(tmp_path, learning=False) as app:
        folder = app.extensions["session"].studio.folder
        visitor = Visitor(app)
        visitor.get("/load")
        fields = visitor.fields("/willing")
        assert {name for name in fields if name.startswith("change-")} == {
            f"change-{kind}" for kind in AS_DELIVERED.kinds
        }
        assert [fields[name] for name in ("lost", "cookie", "reglaze")] == ["20", "1", "0.5"]
        before = visitor.get("/load?firing=Old Nan").get_data(as_text=True)
        assert "at cone 5" in before
        pot = "/pot?piece=mug 4&firing=Old Nan"
        assert "on a kiln-washed cookie" in visitor.get(pot).get_data(as_text=True)
        visitor.get("/load")
        for kind in AS_DELIVERED.kinds - {"edge"}:
            del fields[f"change-{kind}"]
        assert visitor.post("/willing", fields | {"lost": "30"}).status_code == 303
        assert visitor.follow().status_code == 200
        kept = kept_willing(folder)
        assert (kept.kinds, kept.lost, kept.cookie) == ({"edge"}, 30.0, 1.0)
        assert [name for name in visitor.fields("/willing") if "change" in name] == ["change-edge"]
        after = visitor.get("/load?firing=Old Nan").get_data(as_text=True)
        assert "Leave more foot bare" not in after and "at cone 5" not in after
        assert "a lost pot and its shelf 30" in after
        # What was worked out for a pot before is not told again.
        assert "Leave the lowest" not in visitor.get(pot).get_data(as_text=True)


def test_costs_that_are_none_are_told_and_nothing_is_kept(tmp_path):
    with bench(tmp_path, learning=False) as app:
        visitor = Visitor(app)
        visitor.get("/load")
        visitor.send("/willing", cookie="a lot")
        assert visitor.page.status_code == 400
        assert "give three numbers" in visitor.text
        assert kept_willing(app.extensions["session"].studio.folder) == AS_DELIVERED
