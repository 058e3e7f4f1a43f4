// Each finding about a set, in sets of packaged music: one set in which it passes, and small faults by which it fails.
#include "ordered_set.h"

#include <cmath>

#include "delivery/fact_findings.h"

using namespace sendworthy;
using namespace ordered;
using test::Clip;
using test::Wrapping;

namespace fs = std::filesystem;

TEST_CASE("what was ordered is there, and what was not ordered is not") {
  Set set;
  set.add("main", "main", song());
  set.item("tv mix", "tv.wav", "required = false\n");
  auto sheet = set.check();
  CHECK(sheet.verdict == Verdict::pass);
  CHECK(status_of(sheet, "item-missing", "main.wav") == Status::pass);
  CHECK(status_of(sheet, "item-missing", "tv.wav") == Status::note);
  CHECK(status_of(sheet, "item-extra") == Status::pass);
  CHECK(status_of(sheet, "item-duplicate") == Status::pass);
  CHECK(status_of(sheet, "foreign-files") == Status::pass);

  set.item("instrumental", "Instrumental.wav");
  set.put("instrumental", band());
  set.write("Thumbs.db", "x");
  set.write("notes.txt", "thanks");
  sheet = set.check();
  CHECK(sheet.verdict == Verdict::fail);
  CHECK(status_of(sheet, "item-missing", "Instrumental.wav") == Status::fail);
  CHECK(has(words_of(sheet, "item-missing", "Instrumental.wav"), "differs in capitals"));
  CHECK(status_of(sheet, "item-extra", "instrumental.wav") == Status::fail);
  CHECK(status_of(sheet, "foreign-files", "Thumbs.db") == Status::warn);
  CHECK(found(sheet, "foreign-files", "notes.txt") == nullptr);

  set.head += "allow_extra = true\n";
  CHECK(status_of(set.check(), "item-extra") == Status::note);
}

TEST_CASE("one item has one file, and one file one item; stems may be many") {
  Set set;
  set.put("main", song());
  set.put("main 2", band());
  set.item("main", "main*.wav");
  CHECK(status_of(set.check(), "item-duplicate") == Status::fail);
  Set twice;
  twice.add("main", "main", song());
  twice.item("alternate", "main.wav");
  CHECK(status_of(twice.check(), "item-duplicate", "main.wav") == Status::fail);
  Set stems;
  stems.add("main", "main", song());
  fs::create_directories(stems.folder.path + "/stems");
  stems.put("stems/a", band());
  stems.put("stems/b", singer());
  stems.item("stem", "stems/*.wav", "rules = \"./loose.toml\"\n");
  const auto sheet = stems.check();
  CHECK(status_of(sheet, "item-duplicate") == Status::pass);
  CHECK(sheet.order->items[1].files.size() == 2);
}

TEST_CASE("names follow the order's pattern, to the Unicode form, and can stand beside each other") {
  Set set;
  set.head = "title = \"\xC3\x89t\xC3\xA9\"\nartist = \"Nobody Known\"\nname = \"{artist}_{title}_{version}_{rate}k{bits}\"\n";
  const std::string stem = "Nobody_Known_\xC3\x89t\xC3\xA9_main_48k24";
  set.add("main", stem, song());
  auto sheet = set.check();
  CHECK_MESSAGE(status_of(sheet, "name-pattern") == Status::pass, words_of(sheet, "name-pattern"));
  CHECK(status_of(sheet, "name-conflict") == Status::pass);

  Set wrong;
  wrong.head = set.head;
  wrong.add("main", "Nobody_Known_\xC3\x89t\xC3\xA9_main_44.1k24", song());
  sheet = wrong.check();
  CHECK(status_of(sheet, "name-pattern") == Status::fail);
  CHECK(has(words_of(sheet, "name-pattern"), "main_48k24"));

  Set forms;
  forms.put("Song \xC3\xA9", song());
  forms.put("Song e\xCC\x81", band());
  forms.item("main", "Song \xC3\xA9.wav");
  forms.item("alternate", "Song e\xCC\x81.wav");
  sheet = forms.check();
  CHECK(status_of(sheet, "name-conflict") == Status::warn);
  CHECK(has(words_of(sheet, "name-conflict"), "accent"));
  Set capitals;
  capitals.put("song", song());
  capitals.put("Song", band());
  capitals.item("main", "song.wav");
  capitals.item("alternate", "Song.wav");
  CHECK(has(words_of(capitals.check(), "name-conflict"), "capitals"));
}

TEST_CASE("a file that nobody ordered cannot stand beside an ordered one either") {
  Set set;
  set.head += "allow_extra = true\n";
  set.add("main", "song", song());
  CHECK(status_of(set.check(), "name-conflict") == Status::pass);
  set.put("SONG", band());
  CHECK(status_of(set.check(), "name-conflict", "SONG.wav") == Status::warn);
}

TEST_CASE("a name with a star in it is that file's, and a pattern without such a file") {
  Set set;
  set.add("main", "a*b", song());
  set.put("aXb", band());
  set.item("alternate", "aX*.wav");
  const auto sheet = set.check();
  CHECK(status_of(sheet, "item-duplicate") == Status::pass);
  CHECK(sheet.order->items[0].files.front().ends_with("/a*b.wav"));
  CHECK(sheet.order->items[1].files.front().ends_with("/aXb.wav"));
}

TEST_CASE("a name on the disk in another Unicode form is found for its item") {
  Set set;
  set.put("e\xCC\x81", song());
  set.item("main", "\xC3\xA9.wav");
  CHECK(status_of(set.check(), "item-missing") == Status::pass);
}

TEST_CASE("rate, depth and lengths are those of the main mix, and an ordered length is kept to the frame") {
  Set set;
  set.add("main", "main", song());
  set.add("instrumental", "instrumental", band());
  auto half = song();
  for (auto& channel : half.channels) channel.resize(static_cast<std::size_t>(5 * half.rate));
  set.add("cut-down", "cut", half, "length = 5\n");
  auto sheet = set.check();
  CHECK(status_of(sheet, "same-format") == Status::pass);
  CHECK(status_of(sheet, "same-length") == Status::pass);
  CHECK(status_of(sheet, "exact-length") == Status::pass);

  Set wrong;
  wrong.add("main", "main", song());
  auto shorter = band();
  for (auto& channel : shorter.channels) channel.resize(channel.size() - 1);
  wrong.add("instrumental", "instrumental", shorter, "", {.bits = 16});
  for (auto& channel : half.channels) channel.push_back(0);
  wrong.add("cut-down", "cut", half, "length = 5\n");
  sheet = wrong.check();
  CHECK(status_of(sheet, "same-format", "instrumental.wav") == Status::fail);
  CHECK(status_of(sheet, "same-length", "instrumental.wav") == Status::fail);
  CHECK(words_of(sheet, "same-length", "instrumental.wav").starts_with("1 frame shorter (0.021 ms)"));
  CHECK(status_of(sheet, "exact-length", "cut.wav") == Status::fail);
  CHECK(has(words_of(sheet, "exact-length", "cut.wav"), "1 more than 5 s"));
}

TEST_CASE("a version has as many channels as its main mix, and as many sounds on them; stems and a lone voice may be mono") {
  const auto mono = [](Clip clip) {
    clip.channels.resize(1);
    return clip;
  };
  const auto folded = [](Clip clip) {
    clip.channels[1] = clip.channels[0];
    return clip;
  };
  Set set;
  set.add("main", "main", song());
  set.add("instrumental", "instrumental", mono(band()));
  set.add("tv mix", "tv", folded(band()));
  set.add("a cappella", "voices", folded(singer()));
  set.add("stem", "drums", mono(band()), "rules = \"./loose.toml\"\n");
  const auto sheet = set.check();
  CHECK(status_of(sheet, "same-format", "instrumental.wav") == Status::fail);
  CHECK(has(words_of(sheet, "same-format", "instrumental.wav"), "mono, the other 48 kHz, 24-bit, stereo"));
  CHECK(status_of(sheet, "same-format", "tv.wav") == Status::warn);
  CHECK(status_of(sheet, "same-format", "voices.wav") == Status::pass);
  CHECK(status_of(sheet, "same-format", "drums.wav") == Status::pass);
}

TEST_CASE("tags that are asked for, forbidden ones, and what the order says") {
  const auto tagged = [](std::vector<std::pair<std::string, std::string>> info) {
    Wrapping wrapping;
    wrapping.info = std::move(info);
    return wrapping;
  };
  Set set;
  set.add("main", "main", song(), "isrc = \"AA-6Q7-20-00047\"\n", tagged({{"INAM", "Low Water"}, {"IART", "Nobody Known"}, {"ISRC", "AA6Q72000047"}}));
  set.add("instrumental", "instrumental", band(), "isrc = \"AA6Q72000048\"\n", tagged({{"INAM", "Low Water (Instrumental)"}, {"IART", "Nobody Known"}}));
  set.rest += "\n[tags]\nrequire = [\"title\", \"artist\"]\nforbid = [\"comment\"]\nmatch = \"order\"\n";
  auto sheet = set.check();
  CHECK_MESSAGE(status_of(sheet, "tags-match") == Status::pass, words_of(sheet, "tags-match"));
  CHECK(status_of(sheet, "isrc-valid") == Status::pass);
  CHECK(status_of(sheet, "isrc-unique") == Status::pass);

  Set wrong;
  wrong.add("main", "main", song(), "isrc = \"AA6Q72000047\"\n", tagged({{"INAM", "High Water"}, {"ICMT", "rough"}, {"ISRC", "AA6Q72000049"}}));
  wrong.add("instrumental", "instrumental", band(), "isrc = \"AA6Q7200O047\"\n");
  wrong.add("tv mix", "tv", times(song(), 0.6), "isrc = \"AA6Q72000047\"\n");
  wrong.rest += "\n[tags]\nrequire = [\"title\", \"artist\"]\nforbid = [\"comment\"]\nmatch = \"order\"\n";
  sheet = wrong.check();
  const auto words = words_of(sheet, "tags-match", "main.wav");
  for (const auto* part : {"no artist", "comment \"rough\"", "title is \"High Water\"", "isrc is \"AA6Q72000049\""}) CHECK_MESSAGE(has(words, part), words);
  CHECK(status_of(sheet, "isrc-valid", "instrumental.wav") == Status::fail);
  CHECK(status_of(sheet, "isrc-unique", "tv.wav") == Status::fail);
}

TEST_CASE("the DESCRIPTION of Vorbis comments is a comment, and no other description is") {
  const auto status_of_tag = [](const std::string& name, const std::string& origin) {
    delivery::Order order;
    order.items.emplace_back();
    order.tags.emplace();
    order.tags->forbid = {"comment"};
    FileSheet file;
    file.facts.tags = {{name, "rough", origin}};
    const auto findings = delivery::tag_findings({order, {{0, "main.flac", "main.flac", &file}}});
    REQUIRE(findings.size() == 1);
    return findings.front().status;
  };
  CHECK(status_of_tag("description", "Vorbis comment") == Status::fail);
  CHECK(status_of_tag("comment", "Vorbis comment") == Status::fail);
  CHECK(status_of_tag("description", "bext") == Status::pass);
}

TEST_CASE("an album: codes, order, gaps, joins, loudness") {
  const auto album = [](const std::string& rules, double second_db, const std::string& second_name = "02 Two") {
    Set set;
    auto one = song(), two = band();
    one.gain_db(0), two.gain_db(second_db);
    set.add("main", "01 One", one, "title = \"One\"\n");
    set.add("main", second_name, two, "title = \"Two\"\n");
    set.rest += "\n[album]\norder = [\"01 One.wav\", \"" + second_name + ".wav\"]\n" + rules;
    return set.check();
  };
  // GS1's own worked example of a check digit: 629104150021 takes 3.
  auto sheet = album("upc = \"6291041500213\"\n", 0);
  CHECK(status_of(sheet, "upc-valid") == Status::pass);
  CHECK(status_of(sheet, "album-order") == Status::pass);
  CHECK(status_of(sheet, "sequence-numbers") == Status::pass);
  CHECK(status_of(sheet, "album-loudness") == Status::pass);
  CHECK(status_of(album("upc = \"6291041500214\"\n", 0), "upc-valid") == Status::fail);
  CHECK(status_of(album("spread = 6\n", -12), "album-loudness") == Status::fail);
  sheet = album("loudest = -30\n", 0);
  CHECK(status_of(sheet, "album-loudness") == Status::fail);
  CHECK(has(found(sheet, "album-loudness")->remedy, "one gain for all"));
  sheet = album("", 0, "03 Two");
  CHECK(status_of(sheet, "album-order", "03 Two.wav") == Status::fail);
  CHECK(status_of(sheet, "sequence-numbers") == Status::warn);
  CHECK(status_of(album("gap_s = 20\n", 0), "album-order") == Status::fail);
  Set joined;
  joined.add("main", "01 One", song(), "title = \"One\"\n");
  joined.add("main", "02 Two", later(band(), 441), "title = \"Two\"\n");
  joined.rest += "\n[album]\ngapless = true\n";
  sheet = joined.check();
  CHECK(status_of(sheet, "album-order", "02 Two.wav") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "album-order", "02 Two.wav"), "digital silence at the join"), words_of(sheet, "album-order"));
}

TEST_CASE("an album that is not complete, a song that cannot be read, and a song too long for all together") {
  const auto with = [](const std::string& rules, const std::function<void(Set&)>& second) {
    Set set;
    set.add("main", "01 One", song(), "title = \"One\"\n");
    second(set);
    set.item("main", "02 Two.wav", "title = \"Two\"\n");
    set.add("main", "03 Three", band(), "title = \"Three\"\n");
    set.rest += "\n[album]\n" + rules;
    return set.check();
  };
  auto sheet = with("gapless = true\n", [](Set&) {});
  CHECK(status_of(sheet, "album-loudness") == Status::not_measured);
  std::vector<std::string> said;
  for (const auto& one : sheet.findings) {
    if (one.rule == "album-order") said.push_back(std::string(one.status == Status::pass ? "pass " : "") + (std::get_if<NotMeasured>(&one.outcome) != nullptr ? std::get<NotMeasured>(one.outcome).reason : std::get<std::string>(std::get<Value>(one.outcome))));
  }
  CHECK(said == std::vector<std::string>{"pass song 1", "song 2 has no file, or more than one", "pass song 3", "the join from song 1 to song 2: song 2 has no file, or more than one",
                                         "the join from song 2 to song 3: song 2 has no file, or more than one"});

  const auto unreadable = [](Set& set) { set.write("02 Two.wav", "no sound at all"); };
  sheet = with("gap_s = 2\n", unreadable);
  CHECK(status_of(sheet, "album-order", "02 Two.wav") == Status::not_measured);
  CHECK(status_of(sheet, "album-loudness") == Status::note);
  CHECK(status_of(with("spread = 20\n", unreadable), "album-loudness") == Status::not_measured);

  // 14 minutes at the lowest rate that is weighted.
  const auto lasting = [](Set& set) {
    Clip clip;
    clip.rate = 8000;
    clip.channels.assign(1, std::vector<double>(static_cast<std::size_t>(14 * 60 * 8000), 0));
    for (std::size_t n = 0; n < clip.channels[0].size(); ++n) clip.channels[0][n] = 0.1 * std::sin(0.7 * static_cast<double>(n));
    set.put("02 Two", clip);
  };
  sheet = with("spread = 40\n", lasting);
  CHECK(status_of(sheet, "album-loudness") == Status::pass);
  CHECK_MESSAGE(has(words_of(sheet, "album-loudness"), "longer than 13 minutes"), words_of(sheet, "album-loudness"));
}

TEST_CASE("a waiver of the order reaches the set, ends on its day, and warns where it met nothing") {
  Set set;
  set.add("main", "main", song());
  set.item("tv mix", "tv.wav");
  set.rest += "\n[[waiver]]\nrule = \"item-missing\"\nfiles = \"tv.wav\"\nreason = \"comes tomorrow\"\nby = \"NK\"\nuntil = 2026-12-01\n";
  auto sheet = set.check();
  CHECK(status_of(sheet, "item-missing", "tv.wav") == Status::waived);
  CHECK(sheet.verdict == Verdict::pass);
  CHECK(set.check("2026-12-02").verdict == Verdict::fail);
  set.rest += "\n[[waiver]]\nrule = \"name-conflict\"\nreason = \"none\"\nuntil = 2026-12-01\n";
  CHECK(set.check().verdict == Verdict::warn);
}

TEST_CASE("nothing passes that was not measured: a version without a readable file or main mix") {
  Set set;
  set.add("main", "main", song());
  set.write("instrumental.wav", "no sound at all");
  set.item("instrumental", "instrumental.wav");
  const auto sheet = set.check();
  CHECK(sheet.verdict == Verdict::fail);
  for (const auto* rule : {"same-format", "same-length", "aligned", "not-identical", "version-polarity"}) CHECK_MESSAGE(status_of(sheet, rule, "instrumental.wav") == Status::not_measured, rule);
  // Its remedy is no remedy for a fault that nobody found.
  for (const auto* rule : {"aligned", "vocal-in-instrumental"}) CHECK(found(sheet, rule, "instrumental.wav")->remedy.starts_with("Export the file that cannot be read again"));
  Set nowhere;
  nowhere.head += "folder = \"nowhere\"\n";
  nowhere.item("main", "main.wav");
  CHECK(has(found(nowhere.check(), "item-extra")->remedy, "correct folder in the order"));
}

TEST_CASE("a starting order is a valid one and knows what lies in the folder") {
  Set set;
  set.put("Low Water main", song());
  set.put("Low Water instrumental", band());
  fs::create_directories(set.folder.path + "/stems");
  set.put("stems/Low Water drums", band());
  set.put("stems/Low Water vocal \"lead\"", singer());
  const auto text = new_order(set.folder.path, set.folder.path + "/order.toml");
  REQUIRE(text);
  set.write("order.toml", *text);
  OrderOptions options;
  const auto sheet = check_order(set.folder.path + "/order.toml", options);
  REQUIRE_MESSAGE(sheet, to_string(sheet.error()));
  REQUIRE(sheet->order->items.size() == 4);
  CHECK(sheet->order->items[0].version == "main");
  CHECK(sheet->order->items[1].version == "instrumental");
  CHECK(sheet->order->items[2].role == "drums");
  CHECK(sheet->order->items[3].role == "vocal \"lead\"");
  CHECK(status_of(*sheet, "item-extra") == Status::pass);
  CHECK(status_of(*sheet, "stems-sum-to-mix") == Status::pass);
  CHECK_FALSE(new_order(set.folder.path + "/nowhere", "order.toml"));
}

TEST_CASE("of several that may be the main mix a starting order takes the one that says so, and hides no sign") {
  Set set;
  for (const auto* name : {"Salt Main Mix", "Salt_master", "Salt (loud)", "Salt inst", "Salt \xE2\x80\xAEtv"}) set.put(name, band());
  const auto text = new_order(set.folder.path, "");
  REQUIRE(text);
  CHECK(has(*text, "version = \"main\"\nfile = \"Salt Main Mix.wav\""));
  CHECK(has(*text, "# a guess: its name may mean the main mix as well\nversion = \"alternate\"\nfile = \"Salt_master.wav\""));
  CHECK(has(*text, "# a guess: nothing in its name tells what it is\nversion = \"alternate\"\nfile = \"Salt (loud).wav\""));
  CHECK(has(*text, "Salt \\u202etv.wav"));
}

TEST_CASE("a starting order counts as people do, and on standard output names the folder as it was given") {
  Set set;
  for (const auto* name : {"1 Salt", "10 Tar", "2 Rope", "3 Lamp", "s*r"}) set.put(name, song());
  const auto text = new_order(set.folder.path, "");
  REQUIRE(text);
  CHECK(has(*text, "order = [\n  \"1 Salt.wav\",\n  \"2 Rope.wav\",\n  \"3 Lamp.wav\",\n  \"10 Tar.wav\",\n  \"s*r.wav\",\n]"));
  CHECK(has(*text, "folder = \"" + set.folder.path + "\"\n"));
  CHECK(has(*text, "file = \"s*r.wav\"    # without this very file * and ? stand for other signs"));
}
