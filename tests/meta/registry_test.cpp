// What every entry of the catalog and every shipped rule owes its reader.
#include <algorithm>
#include <filesystem>
#include <set>
#include <string>

#include <doctest/doctest.h>

#include <sendworthy/catalog.h>
#include <sendworthy/rule_set.h>

using namespace sendworthy;

namespace {

bool well_formed(std::string_view id, char separator) {
  if (id.empty() || !(id[0] >= 'a' && id[0] <= 'z') || id.back() == separator) return false;
  char before = 0;
  for (const char c : id) {
    const bool letter = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
    if (!letter && c != separator) return false;
    if (c == separator && before == separator) return false;
    before = c;
  }
  return true;
}

std::vector<RuleSet> shipped_sets() {
  std::vector<RuleSet> sets;
  for (const RuleSetListing& listing : list_rule_sets({}, catalog())) {
    CAPTURE(listing.name);
    const Result<RuleSet> set = load_rule_set(listing.name, {}, catalog());
    REQUIRE_MESSAGE(set.has_value(), (set ? std::string() : to_string(set.error())));
    sets.push_back(*set);
  }
  return sets;
}

}  // namespace

TEST_SUITE("meta/registry") {
  TEST_CASE("catalog ids are unique and well formed") {
    std::set<std::string_view> seen;
    for (const CatalogEntry* entry : catalog().entries) {
      CAPTURE(entry->id);
      CHECK(well_formed(entry->id, '_'));
      CHECK(seen.insert(entry->id).second);
      CHECK(catalog().find(entry->id) == entry);
    }
    CHECK(seen.size() > 60);
    CHECK(catalog().find("no_such_measurement") == nullptr);
    CHECK(catalog().find("") == nullptr);
  }

  TEST_CASE("every available measurement says what it is, how it is made, where that comes from and what it cannot know") {
    for (const CatalogEntry* entry : catalog().entries) {
      CAPTURE(entry->id);
      CHECK_FALSE(entry->title.empty());
      if (!entry->available) continue;
      CHECK(entry->what.size() >= 15);
      CHECK(entry->how.size() >= 15);
      CHECK_FALSE(entry->source.empty());
      CHECK_FALSE(entry->caveat.empty());
      CHECK_FALSE(entry->act.empty());
      CHECK(entry->decimals >= 0);
      CHECK(entry->decimals <= 6);
      for (const std::string_view text : {entry->title, entry->what, entry->how, entry->source, entry->caveat, entry->act}) {
        CHECK(text.find('\n') == std::string_view::npos);
      }
    }
  }

  TEST_CASE("parameters have a range that holds their fallback") {
    for (const CatalogEntry* entry : catalog().entries) {
      for (const Parameter& parameter : entry->parameters) {
        CAPTURE(entry->id);
        CAPTURE(parameter.name);
        CHECK(well_formed(parameter.name, '_'));
        CHECK_FALSE(accepted_by(parameter).empty());
        if (!parameter.choices.empty()) {
          // The fallback is what a rule could write as well: it loads, and asks for nothing but the plain measurement.
          const auto set = parse_rule_set("[ruleset]\nname = \"x\"\n[[rule]]\nid = \"r\"\nmeasure = \"" + std::string(entry->id) + "\"\n" +
                                              std::string(parameter.name) + " = " + fallback_in_words(parameter) + "\nwarn_above = 0\n",
                                          "x.toml", {}, catalog());
          REQUIRE(set.has_value());
          CHECK(set->rules[0].measure.parameters.empty());
          continue;
        }
        CHECK(parameter.lowest <= parameter.fallback);
        CHECK(parameter.fallback <= parameter.highest);
        CHECK_FALSE(parameter.what.empty());
      }
    }
  }

  TEST_CASE("every shipped rule set loads, and is the file of its name") {
    std::set<std::string> names;
    for (const RuleSet& set : shipped_sets()) {
      CAPTURE(set.name);
      names.insert(set.name);
      CHECK(std::filesystem::is_regular_file(std::string(SENDWORTHY_SOURCE_DIR "/rules/") + set.name + ".toml"));
      CHECK_FALSE(set.title.empty());
      CHECK_FALSE(set.purpose.empty());
      CHECK_FALSE(set.sources.empty());
      CHECK(set.waivers.empty());
      CHECK(set.origin == "shipped");
    }
    for (const char* name : {"common", "premaster", "stems", "cd", "hi-res", "streaming-music", "broadcast-r128", "broadcast-r128-short",
                             "broadcast-a85", "film-tv-stem", "vinyl-premaster", "podcast", "audiobook", "game-asset"}) {
      CAPTURE(name);
      CHECK(names.count(name) == 1);
    }
    std::size_t files = 0;
    for (const auto& entry : std::filesystem::directory_iterator(SENDWORTHY_SOURCE_DIR "/rules")) {
      if (entry.path().extension() == ".toml") ++files;
    }
    CHECK(files == names.size());
  }

  TEST_CASE("every shipped rule judges a measurement of this version and says why, what to do, and who says so") {
    for (const RuleSet& set : shipped_sets()) {
      for (const Rule& rule : set.rules) {
        CAPTURE(set.name);
        CAPTURE(rule.id);
        CHECK(well_formed(rule.id, '-'));
        const CatalogEntry* entry = catalog().find(rule.measure.id);
        REQUIRE(entry != nullptr);
        CHECK(entry->available);
        if (rule.compare_to) {
          const CatalogEntry* other = catalog().find(rule.compare_to->id);
          REQUIRE(other != nullptr);
          CHECK(other->available);
        }
        CHECK_FALSE(rule.comparisons.empty());
        CHECK_FALSE(rule.why.empty());
        CHECK_FALSE(rule.remedy.empty());
        CHECK_FALSE(rule.source.empty());
      }
    }
  }
}
