"""Looking back on the page: the same words, counts and lengths as on the terminal."""

from helpers.bench import Visitor, bench
from helpers.processes import until
from helpers.tables import calm_studio

from runpredict import review
from runpredict.logbook.forms import import_files
from runpredict.model.trial import LEAST_FIRINGS
from runpredict.tables.csv_files import write_tables
from runpredict.words.review_tables import combination_changes
from runpredict.words.reviews import surprise_words


def back_page(folder, log, glazes):
    """The page that looks back on a log, once it is learned."""
    tables = {folder / "glazes.csv": glazes, folder / "log.csv": log}
    write_tables(tables)
    import_files(list(tables), folder)
    with bench(folder, invented=False) as app:
        visitor = Visitor(app)
        visitor.get("/")
        until(lambda: visitor.get("/back") and "results came as a surprise" in visitor.text)
        return " ".join(visitor.text.split())


def test_the_page_tells_what_the_terminal_does(tmp_path):
    log, glazes = calm_studio()
    page, found = back_page(tmp_path, log, glazes), review(log, glazes)
    assert surprise_words(found) in page
    changes = [row for some in combination_changes(found, "mm") for row in some]
    assert {row.name.split(",")[0] for row in changes} >= {"still"}
    for row in changes:
        assert "".join(f"<td><bdi>{cell}</bdi></td>" for cell in row) in page
    assert "not been tried" not in page
    assert "by models that had not seen the firing" in page


def test_before_any_trial_the_page_says_so(tmp_path):
    log, glazes = calm_studio()
    firings = log["firing"].drop_duplicates().tolist()[: LEAST_FIRINGS - 1]
    page = back_page(tmp_path, log.loc[log["firing"].isin(firings)], glazes)
    assert "not been tried yet on firings it had not seen" in page
    assert f"that takes results from {LEAST_FIRINGS} firings." in page
    assert "by the rules" in page


def test_the_page_over_the_buckets_has_every_combination(tmp_path):
    log, glazes = calm_studio()
    tables = {tmp_path / "glazes.csv": glazes, tmp_path / "log.csv": log}
    write_tables(tables)
    import_files(list(tables), tmp_path)
    with bench(tmp_path, invented=False) as app:
        visitor = Visitor(app)
        for address in ("/combinations", "/combinations.html"):
            assert visitor.get(address).status_code == 200
            for words in ("still", "sea", "20, none past", "so that it runs"):
                assert words in visitor.text
