// Orders: what is read, and what is refused where.
#include <doctest/doctest.h>

#include <string>

#include "base/unicode.h"
#include "delivery/order.h"
#include "delivery/version_names.h"

using namespace sendworthy;
using namespace sendworthy::delivery;

namespace {

const std::string kHead = "[order]\ntitle = \"Low Water\"\nartist = \"Nobody Known\"\n";

Result<Order> order_of(const std::string& rest, const std::string& head = kHead) { return parse_order(head + rest, "sets/order.toml"); }

std::string refusal(const std::string& rest, const std::string& head = kHead) {
  const auto order = order_of(rest, head);
  REQUIRE_FALSE(order);
  CHECK(order.error().code == ErrorCode::rules);
  return to_string(order.error());
}

bool contains(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

const std::string kMain = "[[item]]\nversion = \"main\"\nfile = \"main.wav\"\n";

}  // namespace

TEST_CASE("an order is read with every key of its contract, and paths start where it lies") {
  const auto order = parse_order(R"([order]
title = "Low Water"
artist = "Nobody Known"
album = "Tides"
client = "Harbour Office"
rules = ["cd", "./label.toml"]
folder = "files"
name = "{artist}_{title}"
allow_extra = true
previous = "../last"
[[item]]
version = "main"
file = "main.wav"
isrc = "AA6Q72000047"
[[item]]
version = "stem"
file = "stems/*.wav"
required = false
rules = "stems"
role = "drums"
[[item]]
version = "clean edit"
file = "clean.wav"
edits = [[1, 2.5], [80.0, 81]]
[[item]]
version = "cut-down"
file = "30.wav"
length = 30
against = "main"
[album]
order = ["main.wav"]
gap_s = 2
loudest = -14.0
spread = 4
upc = "123456789012"
[tags]
require = ["title", "upc"]
forbid = ["comment"]
match = "order"
[[waiver]]
rule = "item-missing"
reason = "comes tomorrow"
until = 2027-01-31
)",
                                 "sets/order.toml");
  REQUIRE_MESSAGE(order, to_string(order.error()));
  CHECK(order->folder == "sets/files/");
  CHECK(order->previous == "sets/../last");
  CHECK(order->rules == std::vector<std::string>{"cd", "sets/label.toml"});
  REQUIRE(order->items.size() == 4);
  CHECK(order->items[1].against_item == 0);
  CHECK(order->items[2].edits.size() == 2);
  CHECK(order->items[3].length_s == 30);
  CHECK(order->items[3].against_item == 0);
  CHECK(order->album->order == std::vector<std::size_t>{0});
  CHECK(order->tags->require == std::vector<std::string>{"title", "barcode"});
  CHECK(order->waivers.size() == 1);
  CHECK(name_of(order->items[1], *order) == "stem drums");
}

TEST_CASE("every version of the trade's list has its word and is read by it") {
  for (const auto version : versions()) {
    const auto order = order_of("[[item]]\nversion = \"" + std::string(to_string(version)) + "\"\nfile = \"a.wav\"\n");
    REQUIRE(order);
    CHECK(order->items[0].version == version);
  }
}

TEST_CASE("a wrong order says file, line, column and the nearest right name") {
  CHECK(contains(refusal("[[item]]\nversion = \"instrumentl\"\nfile = \"a.wav\"\n"), "sets/order.toml:5:11: no version is called \"instrumentl\"; did you mean \"instrumental\"?"));
  CHECK(contains(refusal("[[item]]\nversion = \"main\"\nfiel = \"a.wav\"\n"), "did you mean \"file\"?"));
  CHECK(contains(refusal("[[item]]\nversion = \"main\"\n"), "needs a file"));
  CHECK(contains(refusal("[[item]]\nfile = \"a.wav\"\n"), "needs a version"));
  CHECK(contains(refusal("[item]\nversion = \"main\"\n"), "[[item]]"));
  CHECK(contains(refusal(""), "at least one [[item]]"));
  CHECK(contains(refusal(kMain, "[order]\ntitle = \"x\"\n"), "needs artist"));
  CHECK(contains(refusal(kMain, ""), "[order]"));
  CHECK(contains(refusal("[[item]]\nversion = \"main\"\nfile = \"../x.wav\"\n"), "below the order's folder"));
  CHECK(contains(refusal("[[item]]\nversion = \"main\"\nfile = \"/x.wav\"\n"), "below the order's folder"));
  CHECK(contains(refusal(kMain + "edits = [[1, 2]]\n"), "only a clean edit"));
  CHECK(contains(refusal("[[item]]\nversion = \"clean edit\"\nfile = \"a.wav\"\nedits = [[2, 1]]\n"), "pairs of seconds"));
  CHECK(contains(refusal(kMain + "length = -3\n"), "length must lie between"));
  CHECK(contains(refusal(kMain + "against = \"main\"\n"), "against itself"));
  CHECK(contains(refusal(kMain + "against = \"tv mix\"\n"), "no item is \"tv mix\""));
  CHECK(contains(refusal(kMain + "[tags]\nrequire = [\"titel\"]\n"), "did you mean \"title\"?"));
  CHECK(contains(refusal(kMain + "[tags]\nrequire = [\"isrc\"]\nforbid = [\"isrc\"]\n"), "both required and forbidden"));
  CHECK(contains(refusal(kMain + "[tags]\nmatch = \"tags\"\n"), "can only be \"order\""));
  CHECK(contains(refusal(kMain + "[album]\norder = [\"two.wav\"]\n"), "no item has the file or the title"));
  CHECK(contains(refusal(kMain + "[album]\norder = [\"main.wav\", \"main.wav\"]\n"), "twice"));
  CHECK(contains(refusal(kMain + "[album]\ngapless = true\ngap_s = 2\n"), "exclude each other"));
  CHECK(contains(refusal(kMain + "[[waiver]]\nrule = \"x\"\nreason = \"y\"\n"), "needs until"));
  // Two main mixes of one song leave open which of them an instrumental belongs to.
  CHECK(contains(refusal(kMain + "[[item]]\nversion = \"main\"\nfile = \"b.wav\"\n[[item]]\nversion = \"instrumental\"\nfile = \"i.wav\"\n"), "2 main mixes"));
}

TEST_CASE("a song of its own title is held against its own main mix") {
  const auto order = order_of(
      "[[item]]\nversion = \"main\"\nfile = \"a.wav\"\ntitle = \"A\"\n[[item]]\nversion = \"main\"\nfile = \"b.wav\"\ntitle = \"B\"\n"
      "[[item]]\nversion = \"instrumental\"\nfile = \"bi.wav\"\ntitle = \"B\"\n[[item]]\nversion = \"instrumental\"\nfile = \"ci.wav\"\ntitle = \"C\"\n");
  REQUIRE(order);
  CHECK(order->items[2].against_item == 1);
  CHECK_FALSE(order->items[3].against_item);
  CHECK_FALSE(order->items[0].against_item);
}

TEST_CASE("versions are guessed from names by the words of the trade") {
  const std::pair<const char*, Version> kNames[] = {
      {"Song_Instrumental_48k24.wav", Version::instrumental}, {"Song (A Cappella).wav", Version::a_cappella}, {"song-acapella.wav", Version::a_cappella},
      {"Song TV mix.wav", Version::tv_mix},                   {"Song_Clean.wav", Version::clean_edit},        {"Song_RadioEdit.wav", Version::radio_edit},
      {"Song_30s.wav", Version::cut_down},                    {"Song 15 sec.wav", Version::cut_down},         {"Song_main_48k24.wav", Version::main},
      {"Stem Drums.wav", Version::stem},                      {"Song premaster.wav", Version::premaster},     {"Song_alt.wav", Version::alternate},
      {"Song_performance.wav", Version::performance_mix},     {"Song.wav", Version::main}};
  for (const auto& one : kNames) CHECK_MESSAGE(guessed_version(one.first) == one.second, one.first);
}

TEST_CASE("Unicode forms and capitals: equal where a disk may keep no difference") {
  // Unicode Standard Annex #15, figure 3: å as one character and as a letter with a ring; CaseFolding.txt: ß folds to ss.
  CHECK(base::composed("a\xCC\x8A") == "\xC3\xA5");
  CHECK(base::composed("\xC3\xA5") == "\xC3\xA5");
  CHECK(base::case_folded("STRASSE") == base::case_folded("stra\xC3\x9F" "e"));
  CHECK(base::case_folded("A\xCC\x8A") == base::case_folded("\xC3\xA5"));
  CHECK(base::composed("no \xFF text") == "no \xFF text");
}

TEST_CASE("a title or artist of blanks is none, and the pattern of names knows its line") {
  CHECK(contains(refusal(kMain, "[order]\ntitle = \"  \"\nartist = \"Nobody Known\"\n"), "sets/order.toml:2:9"));
  CHECK(contains(refusal(kMain, "[order]\ntitle = \"Low Water\"\nartist = \" \"\n"), "[order] needs artist"));
  CHECK(contains(refusal(kMain + "title = \" \"\n"), "title is blank"));
  const auto order = order_of(kMain, kHead + "name = \"{artist\"\n");
  REQUIRE(order);
  CHECK(order->name_place.line == 4);
}

TEST_CASE("what is wrong with what is expected is told where it stands") {
  const auto place_of = [](const std::string& of_order, const std::string& of_item) {
    const auto order = order_of(kMain + "expect = \"" + of_item + "\"\n", kHead + "expect = [\"" + of_order + "\"]\n");
    REQUIRE(order);
    const auto set = expected_set(*order, order->items.front());
    return set ? 0 : set.error().place.line;
  };
  CHECK(place_of("sample_rate=48000", "bit_depth=24") == 0);
  CHECK(place_of("sample_rat=48000", "bit_depth=24") == 4);
  CHECK(place_of("sample_rate=often", "sample_rate=48000") == 4);
  CHECK(place_of("sample_rate=48000", "bit_dept=24") == 8);
}
