"""Load a firing on the page: what the studio is willing to change, ticked and remembered."""

from dataclasses import replace
from unittest import mock

from helpers.bench import Visitor, bench
from helpers.browser import small_studio

from runpredict.answers.willing import AS_DELIVERED, kept_willing
from runpredict.bench import memo, studio
from runpredict.model.predictors import RulesPredictor


class Wider(RulesPredictor):
    """Less sure than the rules."""

    def chances(self, stacks):
        return super().chances(stacks).widened(2.0)


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


def test_what_changed_alone_is_judged_and_whatever_changes_an_answer_is(tmp_path):
    """After each change the list is that of a page which had judged nothing before."""
    judged, ask = [], studio.Studio.ask

    def counting(self, tables):
        judged.append(tables.plan["piece"].nunique())
        return ask(self, tables)

    with (
        bench(small_studio(tmp_path), invented=False, learning=False) as app,
        mock.patch.object(studio.Studio, "ask", counting),
    ):
        visitor, opened = Visitor(app), app.extensions["session"].studio

        def listed():
            judged.clear()
            told, asked = visitor.get("/").get_data(as_text=True), [*judged]
            opened.told = memo.Memo(4)
            assert visitor.get("/").get_data(as_text=True) == told
            return asked, told

        def save(piece, **changed):
            visitor.get(f"/pot?piece={piece}&firing=dusk")
            assert visitor.send("/pot", "save", **changed).status_code == 303

        assert listed()[0] == [9]
        before = listed()[1]
        visitor.get("/")
        asked, told = listed()
        assert (asked, told) == ([], before)
        save("cup 4", **{"coats-1": "3"})
        asked, told = listed()
        assert asked == [1] and told != before
        save("cup 4", firing="dawn")
        save("cup 5", **{"note-1": "of the second shelf"})
        assert sum(listed()[0]) == 2
        visitor.get("/pot?piece=cup 6&firing=dusk")
        assert visitor.send("/pot", "remove-surely").status_code == 303
        asked, told = listed()
        assert asked == [] and "cup 6" not in told

        def of_a_glaze():
            visitor.get("/glaze?name=Grey Moth")
            visitor.send("/glaze", "save", behaviour="runny")

        def of_the_units():
            visitor.client.set_cookie("units", "in", domain="127.0.0.1")

        def of_what_is_tolerated():
            visitor.get("/firing?name=dusk")
            visitor.send("/firing", "save", tolerance_pct="30")

        def of_what_she_is_willing():
            opened.say(lambda said: replace(said, kinds=frozenset({"coats"})))

        def of_who_answers():
            taught = opened.learner.taught
            at = taught.at.replace(year=1999)
            opened.learner.taught = replace(taught, predictor=Wider(), at=at)

        for change in (of_a_glaze, of_the_units, of_what_is_tolerated, of_what_she_is_willing,
                       of_who_answers):  # fmt: skip
            change()
            asked, now = listed()
            assert sum(asked) == 8 and now != told, change.__name__
            told = now
