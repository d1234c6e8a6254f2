"""The folder of starter rules comes in by the plugin door."""

from qa_engine.plugins import starter_rules


def test_the_plugin_offers_the_folder_that_ships():
    (folder,) = starter_rules.qa_rule_folders()
    assert folder.is_dir()
    assert folder.joinpath("__init__.py").is_file()
    assert "rule" in folder.joinpath("__init__.py").read_text().lower()
