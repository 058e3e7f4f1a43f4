// Each finding about a set, in sets of packaged music: one set in which it passes, and small faults by which it fails.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <functional>

#include <sendworthy/deliver.h>

#include "delivery/fact_findings.h"
#include "delivery/version_findings.h"
#include "faults/sample.h"
#include "signals.h"

using namespace sendworthy;
using test::Clip;
using test::Wrapping;

namespace {

namespace fs = std::filesystem;

/// A folder with files and an order.
struct Set {
  test::Folder folder;
  std::string head = "title = \"Low Water\"\nartist = \"Nobody Known\"\n", rest;

  Set() {
    write("loose.toml",
          "[ruleset]\nname = \"loose\"\ntitle = \"Loose\"\npurpose = \"Only that there is sound.\"\nsources = [\"definition\"]\n"
          "[[rule]]\nid = \"peak\"\nmeasure = \"sample_peak\"\nfail_above = 12.0\nwhy = \"Test.\"\nremedy = \"None.\"\nsource = \"definition\"\n");
  }
  void write(const std::string& name, const std::string& text) const {
    fs::create_directories(fs::path(folder.path + "/" + name).parent_path());
    std::ofstream(folder.path + "/" + name, std::ios::binary) << text;
  }
  /// Writes a sound and puts it on the order.
  void add(const std::string& version, const std::string& name, const Clip& clip, const std::string& more = "", const Wrapping& wrapping = {}) {
    put(name, clip, wrapping);
    item(version, name + ".wav", more);
  }
  void put(const std::string& name, const Clip& clip, const Wrapping& wrapping = {}) const { (void)test::write_sample(folder.path, name, clip, wrapping); }
  void item(const std::string& version, const std::string& file, const std::string& more = "") { rest += "\n[[item]]\nversion = \"" + version + "\"\nfile = \"" + file + "\"\n" + more; }

  Sheet check(const std::string& today = "2026-11-26") const {
    write("order.toml", "[order]\nrules = \"./loose.toml\"\n" + head + rest);
    OrderOptions options;
    options.check.today = today;
    options.check.jobs = 2;
    const auto sheet = check_order(folder.path + "/order.toml", options);
    REQUIRE_MESSAGE(sheet, to_string(sheet.error()));
    return *sheet;
  }
};

/// The worst finding of a rule, about a file of this name where one is given.
const Finding* found(const Sheet& sheet, const std::string& rule, const std::string& name = "") {
  const Finding* worst = nullptr;
  for (const auto& one : sheet.findings) {
    const bool about = name.empty() || std::ranges::any_of(one.files, [&](const std::string& path) { return path.ends_with("/" + name); });
    if (one.rule == rule && about && (worst == nullptr || one.status > worst->status)) worst = &one;
  }
  return worst;
}

Status status_of(const Sheet& sheet, const std::string& rule, const std::string& name = "") {
  const auto* finding = found(sheet, rule, name);
  REQUIRE_MESSAGE(finding != nullptr, rule);
  return finding->status;
}

std::string words_of(const Sheet& sheet, const std::string& rule, const std::string& name = "") {
  const auto* finding = found(sheet, rule, name);
  if (finding == nullptr) return "no finding";
  const auto* value = std::get_if<Value>(&finding->outcome);
  const auto* text = value != nullptr ? std::get_if<std::string>(value) : nullptr;
  return text != nullptr ? *text : std::get_if<NotMeasured>(&finding->outcome) != nullptr ? std::get<NotMeasured>(finding->outcome).reason : "";
}

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

Clip changed(const Clip& clip, const std::function<void(std::vector<double>&)>& change) {
  auto out = clip;
  for (auto& channel : out.channels) change(channel);
  return out;
}

Clip later(const Clip& clip, std::ptrdiff_t frames) {
  return changed(clip, [&](auto& x) {
    const auto length = x.size();
    x.insert(x.begin(), static_cast<std::size_t>(frames), 0.0);
    x.resize(length);
  });
}

Clip times(const Clip& clip, double factor) {
  return changed(clip, [&](auto& x) {
    for (auto& v : x) v *= factor;
  });
}

Clip sum(const Clip& a, const Clip& b) {
  auto out = a;
  for (std::size_t c = 0; c < a.channels.size(); ++c) {
    for (std::size_t n = 0; n < a.channels[c].size(); ++n) out.channels[c][n] += b.channels[c][n];
  }
  return out;
}

/// The song, its band and its singer: music for the band, other passages of it an octave up and with rests for the singer.
const Clip& band() {
  static const Clip kBand = times(test::music(), 0.5);
  return kBand;
}
const Clip& singer() {
  static const Clip kSinger = [] {
    auto voice = times(test::music(), 0.4);
    for (std::size_t c = 0; c < voice.channels.size(); ++c) {
      const auto& from = test::music().channels[c];
      auto& to = voice.channels[c];
      for (std::size_t n = 0; n < to.size(); ++n) {
        const bool rests = (n / static_cast<std::size_t>(voice.rate)) % 3 == 2;
        to[n] = rests ? 0 : 0.3 * from[(2 * n + 5 * static_cast<std::size_t>(voice.rate)) % from.size()];
      }
    }
    return voice;
  }();
  return kSinger;
}
const Clip& song() {
  static const Clip kSong = sum(band(), singer());
  return kSong;
}

/// Other music for `seconds` from `at_s` on.
Clip edited(const Clip& clip, double at_s, double seconds) {
  return changed(clip, [&](auto& x) {
    const auto at = static_cast<std::size_t>(at_s * clip.rate), count = static_cast<std::size_t>(seconds * clip.rate);
    for (std::size_t n = at; n < std::min(at + count, x.size()); ++n) x[n] = -0.8 * x[(n + 3 * static_cast<std::size_t>(clip.rate)) % x.size()];
  });
}

}  // namespace

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

TEST_CASE("versions stand where the main mix stands, the right way up, at its level") {
  Set set;
  set.add("main", "main", song());
  set.add("instrumental", "instrumental", band());
  auto sheet = set.check();
  CHECK_MESSAGE(status_of(sheet, "aligned", "instrumental.wav") == Status::pass, words_of(sheet, "aligned"));
  CHECK(status_of(sheet, "version-polarity", "instrumental.wav") == Status::pass);
  CHECK(status_of(sheet, "version-gain", "instrumental.wav") == Status::pass);
  CHECK(status_of(sheet, "not-identical", "instrumental.wav") == Status::pass);

  Set wrong;
  wrong.add("main", "main", song());
  wrong.add("instrumental", "instrumental", times(later(band(), 441), -0.7));
  sheet = wrong.check();
  CHECK(status_of(sheet, "aligned", "instrumental.wav") == Status::fail);
  CHECK(has(words_of(sheet, "aligned", "instrumental.wav"), "441 frames late"));
  CHECK(status_of(sheet, "version-polarity", "instrumental.wav") == Status::fail);
  CHECK(status_of(sheet, "version-gain", "instrumental.wav") == Status::warn);
  CHECK_MESSAGE(has(words_of(sheet, "version-gain", "instrumental.wav"), "-3.1 dB"), words_of(sheet, "version-gain"));
}

TEST_CASE("a version that moves on the way, or has its channels changed about") {
  Set moves;
  moves.add("main", "main", song());
  moves.add("instrumental", "instrumental", changed(band(), [](auto& x) {
    const auto half = static_cast<std::ptrdiff_t>(x.size() / 2);
    x.insert(x.begin() + half, 441, 0.0);
    x.resize(x.size() - 441);
  }));
  auto sheet = moves.check();
  CHECK(status_of(sheet, "aligned", "instrumental.wav") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "aligned", "instrumental.wav"), "to the frame at first; 441 frames late from "), words_of(sheet, "aligned", "instrumental.wav"));
  CHECK(status_of(sheet, "version-polarity", "instrumental.wav") == Status::pass);

  Set turned;
  turned.add("main", "main", song());
  auto crossed = band();
  std::swap(crossed.channels[0], crossed.channels[1]);
  turned.add("instrumental", "instrumental", crossed);
  sheet = turned.check();
  CHECK(status_of(sheet, "version-polarity", "instrumental.wav") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "version-polarity", "instrumental.wav"), "left and right changed about"), words_of(sheet, "version-polarity", "instrumental.wav"));
}

TEST_CASE("in music that repeats a version is not taken for in line where it is two beats late") {
  // A bar of eight hits over which the singer never repeats; every hit alike to the sample.
  auto hits = band();
  const auto beat = static_cast<std::size_t>(hits.rate / 2);
  for (auto& channel : hits.channels) {
    for (std::size_t n = beat; n < channel.size(); ++n) channel[n] = channel[n % beat] * ((n / beat) % 2 == 0 ? 1.0 : 0.6);
    // What tells: a note of the band every few beats, further on each time.
    for (std::size_t n = 0; n < channel.size(); ++n) channel[n] = 0.5 * channel[n] + 0.3 * band().channels[0][n];
  }
  Set set;
  set.add("main", "main", sum(hits, singer()));
  set.add("instrumental", "instrumental", later(hits, static_cast<std::ptrdiff_t>(2 * beat)));
  const auto sheet = set.check();
  CHECK(status_of(sheet, "aligned", "instrumental.wav") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "aligned", "instrumental.wav"), "48000 frames late"), words_of(sheet, "aligned", "instrumental.wav"));
}

TEST_CASE("44.1 material under a header of 48 is told by its main mix") {
  Set set;
  set.add("main", "main", song());
  // The same sound at 44.1 kHz, by its samples: played at 48 it is that much faster.
  auto slow = song();
  slow.rate = 48000 * 147 / 160 == 44100 ? 48000 : 48000;
  for (auto& channel : slow.channels) {
    std::vector<double> out;
    for (double at = 0; at + 1 < static_cast<double>(channel.size()); at += 160.0 / 147) {
      const auto n = static_cast<std::size_t>(at);
      const double f = at - static_cast<double>(n);
      out.push_back(channel[n] * (1 - f) + channel[n + 1] * f);
    }
    channel = out;
  }
  set.add("clean edit", "clean", slow);
  const auto sheet = set.check();
  CHECK(status_of(sheet, "aligned", "clean.wav") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "aligned", "clean.wav"), "44.1 kHz"), words_of(sheet, "aligned"));
}

TEST_CASE("the main mix under another name is told, to the bit and but for its level") {
  Set set;
  set.add("main", "main", song());
  set.add("instrumental", "instrumental", song());
  set.add("tv mix", "tv", times(song(), 0.9));
  const auto sheet = set.check();
  CHECK(status_of(sheet, "not-identical", "instrumental.wav") == Status::fail);
  CHECK(status_of(sheet, "not-identical", "tv.wav") == Status::fail);
  CHECK(has(words_of(sheet, "not-identical", "tv.wav"), "gain only"));
}

TEST_CASE("two versions of a song that are one sound but for dither or level are told; two of a kind in two formats were ordered") {
  const auto dithered = [](const Clip& clip) {
    unsigned state = 7;
    return changed(clip, [&](auto& x) {
      for (auto& v : x) v += (static_cast<double>((state = state * 1664525 + 1013904223) >> 8) / 0x1p24 - 0.5) * 0x1p-22;
    });
  };
  const auto with = [&](const Clip& tv, const std::string& version) {
    Set set;
    set.add("main", "main", song());
    set.add("instrumental", "instrumental", band());
    set.add(version, "tv", tv, version == "instrumental" ? "rules = [\"./loose.toml\", \"./loose.toml\"]\n" : "");
    return set.check();
  };
  auto sheet = with(dithered(band()), "tv mix");
  CHECK(status_of(sheet, "not-identical", "instrumental.wav") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "not-identical", "instrumental.wav"), "two versions are one and the same mix"), words_of(sheet, "not-identical", "instrumental.wav"));
  CHECK(status_of(with(times(band(), 0.8), "tv mix"), "not-identical", "instrumental.wav") == Status::fail);
  CHECK(status_of(with(dithered(band()), "instrumental"), "not-identical", "instrumental.wav") == Status::pass);
  CHECK(status_of(with(sum(band(), times(singer(), 0.3)), "tv mix"), "not-identical", "instrumental.wav") == Status::pass);
}

TEST_CASE("a frame or two are told in milliseconds") {
  Set set;
  set.add("main", "main", song());
  set.add("instrumental", "instrumental", later(band(), 1));
  // 1 / 48 kHz.
  CHECK(words_of(set.check(), "aligned") == "1 frame late (0.021 ms)");
}

TEST_CASE("a clean edit differs at its edits and nowhere else") {
  Set set;
  set.add("main", "main", song());
  set.add("clean edit", "clean", edited(song(), 4, 0.6), "edits = [[4.0, 4.6]]\n");
  auto sheet = set.check();
  CHECK_MESSAGE(status_of(sheet, "clean-differs-only-at-edits") == Status::pass, words_of(sheet, "clean-differs-only-at-edits"));
  CHECK(found(sheet, "clean-differs-only-at-edits")->where.size() == 1);

  const auto with = [](const Clip& clean, const std::string& more) {
    Set other;
    other.add("main", "main", song());
    other.add("clean edit", "clean", clean, more);
    return other.check();
  };
  CHECK(status_of(with(edited(song(), 4, 0.6), ""), "clean-differs-only-at-edits") == Status::pass);
  sheet = with(edited(song(), 8, 0.6), "edits = [[4.0, 4.6]]\n");
  CHECK(status_of(sheet, "clean-differs-only-at-edits") == Status::fail);
  CHECK(has(words_of(sheet, "clean-differs-only-at-edits"), "not within an edit"));
  CHECK(found(sheet, "clean-differs-only-at-edits")->where.size() == 1);
  CHECK(has(words_of(sheet, "clean-differs-only-at-edits"), "is as in the main mix"));
  CHECK(status_of(with(edited(song(), 4, 3.5), ""), "clean-differs-only-at-edits") == Status::fail);
  sheet = with(song(), "");
  CHECK(status_of(sheet, "clean-differs-only-at-edits") == Status::fail);
  CHECK(has(words_of(sheet, "clean-differs-only-at-edits"), "differs nowhere"));

  // Of two edits one was ordered: it is no place at which the file fails.
  sheet = with(edited(edited(song(), 4, 0.6), 8, 0.6), "edits = [[4.0, 4.6]]\n");
  int places = 0;
  for (const auto& one : sheet.findings) {
    if (one.rule != "clean-differs-only-at-edits") continue;
    REQUIRE(one.where.size() == 1);
    CHECK(one.status == (one.where.front().start_s > 6 ? Status::fail : Status::note));
    ++places;
  }
  CHECK(places == 2);
}

TEST_CASE("an old revision that goes out again is named") {
  Set set;
  set.add("main", "main", song());
  fs::create_directories(set.folder.path + "/../" + fs::path(set.folder.path).filename().string() + "-last");
  const auto last = set.folder.path + "-last";
  set.head += "previous = \"../" + fs::path(last).filename().string() + "\"\n";
  (void)test::write_sample(last, "song mix 3", song(), {});
  auto sheet = set.check();
  CHECK(status_of(sheet, "main-is-current") == Status::fail);
  CHECK(has(words_of(sheet, "main-is-current"), "song mix 3.wav"));
  (void)test::write_sample(last, "song mix 3", times(song(), 0.8), {});
  sheet = set.check();
  CHECK(status_of(sheet, "main-is-current") == Status::fail);
  CHECK(has(words_of(sheet, "main-is-current"), "level"));
  (void)test::write_sample(last, "song mix 3", edited(song(), 2, 1), {});
  sheet = set.check();
  CHECK(status_of(sheet, "main-is-current") == Status::pass);
  fs::remove_all(last);
  CHECK(status_of(set.check(), "main-is-current") == Status::not_measured);
}

TEST_CASE("stems add up to the mix, or the finding names why they do not") {
  const auto with = [](const Clip& a, const Clip& b) {
    Set set;
    set.add("main", "main", song());
    set.add("stem", "band", a, "rules = \"./loose.toml\"\n");
    set.add("stem", "singer", b, "rules = \"./loose.toml\"\n");
    return set.check();
  };
  auto sheet = with(band(), singer());
  CHECK_MESSAGE(status_of(sheet, "stems-sum-to-mix") == Status::pass, words_of(sheet, "stems-sum-to-mix"));
  sheet = with(times(band(), 0.5), times(singer(), 0.5));
  CHECK(status_of(sheet, "stems-sum-to-mix") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "stems-sum-to-mix"), "one gain: all stems are 6.02 dB too soft"), words_of(sheet, "stems-sum-to-mix"));
  sheet = with(band(), times(singer(), -1));
  CHECK_MESSAGE(has(words_of(sheet, "stems-sum-to-mix"), "singer inverted"), words_of(sheet, "stems-sum-to-mix"));
  sheet = with(band(), later(singer(), 96));
  CHECK_MESSAGE(has(words_of(sheet, "stems-sum-to-mix"), "singer 96 frames late"), words_of(sheet, "stems-sum-to-mix"));
  sheet = with(band(), times(singer(), 0.5));
  CHECK_MESSAGE(has(words_of(sheet, "stems-sum-to-mix"), "singer 6.02 dB too soft"), words_of(sheet, "stems-sum-to-mix"));
  Set missing;
  missing.add("main", "main", sum(song(), times(later(test::music(), 30011), 0.25)));
  missing.add("stem", "band", band(), "rules = \"./loose.toml\"\n");
  missing.add("stem", "singer", singer(), "rules = \"./loose.toml\"\n");
  CHECK_MESSAGE(has(words_of(missing.check(), "stems-sum-to-mix"), "missing"), words_of(missing.check(), "stems-sum-to-mix"));
}

TEST_CASE("instrumental and a cappella add up to the main mix") {
  Set set;
  set.add("main", "main", song());
  set.add("instrumental", "instrumental", band());
  set.add("a cappella", "voices", singer());
  CHECK(status_of(set.check(), "versions-sum") == Status::pass);
  Set wrong;
  wrong.add("main", "main", sum(song(), times(later(test::music(), 30000), 0.3)));
  wrong.add("instrumental", "instrumental", band());
  wrong.add("a cappella", "voices", singer());
  CHECK(status_of(wrong.check(), "versions-sum") == Status::warn);
}

namespace {

/// Long enough for an average: the passages three times, the voice in between at another place each time.
Clip repeated(const Clip& clip, std::size_t step) {
  return changed(clip, [&](auto& x) {
    const auto once = x;
    for (std::size_t turn = 1; turn < 3; ++turn) {
      for (std::size_t n = 0; n < once.size(); ++n) x.push_back(once[(n + turn * step) % once.size()]);
    }
  });
}

}  // namespace

TEST_CASE("without a main mix nothing that would be asked passes, and a leak that shows all the same is told") {
  const auto music = repeated(band(), 0), voice = repeated(singer(), 70001);
  const auto with = [&](double in_instrumental, const std::string& more) {
    Set set;
    set.item("main", "main.wav", "required = false\n");
    set.add("instrumental", "instrumental", sum(music, times(voice, in_instrumental)), more);
    set.add("a cappella", "voices", voice, more);
    set.add("clean edit", "clean", sum(music, voice), more);
    return set.check();
  };
  auto sheet = with(0.1, "");
  CHECK(sheet.verdict == Verdict::fail);
  for (const auto* name : {"instrumental.wav", "voices.wav", "clean.wav"}) {
    for (const auto* rule : {"same-length", "aligned", "version-polarity", "version-gain"}) {
      CHECK_MESSAGE(status_of(sheet, rule, name) == Status::not_measured, rule << " " << name);
      CHECK(words_of(sheet, rule, name) == "there is no main mix to hold it against");
      CHECK(found(sheet, rule, name)->remedy.starts_with("Put the main mix into the folder"));
    }
  }
  CHECK(status_of(sheet, "not-identical", "voices.wav") == Status::not_measured);
  CHECK(status_of(sheet, "clean-differs-only-at-edits") == Status::not_measured);
  CHECK(status_of(sheet, "versions-sum") == Status::not_measured);
  CHECK(status_of(sheet, "vocal-in-instrumental") == Status::fail);
  // None found is no proof: nothing says that the two stand in line.
  sheet = with(0, "title = \"High Water\"\n");
  CHECK(status_of(sheet, "vocal-in-instrumental") == Status::not_measured);
  CHECK_MESSAGE(has(words_of(sheet, "vocal-in-instrumental"), "there is no main mix of \"High Water\""), words_of(sheet, "vocal-in-instrumental"));

  Set lone;
  lone.add("stem", "drums", band(), "rules = \"./loose.toml\"\n");
  lone.head += "previous = \".\"\n";
  sheet = lone.check();
  CHECK(status_of(sheet, "stems-sum-to-mix") == Status::not_measured);
  CHECK(status_of(sheet, "main-is-current") == Status::not_measured);
}

TEST_CASE("a leak that may come back from the other file is not measured") {
  using delivery::LeakSeen;
  const auto seen = [](std::string_view rule, double db, bool diffuse = false) {
    LeakSeen one;
    one.rule = rule, one.leak.found = one.leak.measured = true;
    one.leak.diffuse = diffuse;
    (diffuse ? one.leak.diffuse_db : one.leak.leak_db) = db;
    return one;
  };
  const auto vocal = seen("vocal-in-instrumental", -23, true);
  CHECK(has(delivery::explained_by(seen("band-in-a-cappella", -68), vocal), "the instrumental holds the voice itself, at -23.0 dB"));
  CHECK(delivery::explained_by(seen("band-in-a-cappella", -39), vocal).empty());
  CHECK(delivery::explained_by(vocal, seen("band-in-a-cappella", -68)).empty());
  // The other way about only what is far louder.
  CHECK(delivery::explained_by(seen("vocal-in-instrumental", -50), seen("band-in-a-cappella", -31)).empty());
  CHECK(has(delivery::explained_by(seen("vocal-in-instrumental", -50), seen("band-in-a-cappella", -30)), "the a cappella holds the band itself"));
  auto none = seen("vocal-in-instrumental", -144);
  none.leak.found = false;
  CHECK(delivery::explained_by(seen("band-in-a-cappella", -68), none).empty());
}

TEST_CASE("what must not be in a version is found there, and what is not there is not") {
  const auto music = repeated(band(), 0), voice = repeated(singer(), 70001);
  const auto with = [&](double in_instrumental, double in_voices, double in_tv) {
    Set set;
    set.add("main", "main", sum(music, voice));
    set.add("instrumental", "instrumental", sum(music, times(voice, in_instrumental)));
    set.add("a cappella", "voices", sum(voice, times(music, in_voices)));
    set.add("tv mix", "tv", sum(music, times(voice, in_tv)));
    set.add("stem", "lead", voice, "role = \"lead vocal\"\nrules = \"./loose.toml\"\n");
    set.add("stem", "rest", music, "role = \"band\"\nrules = \"./loose.toml\"\n");
    return set.check();
  };
  auto sheet = with(0, 0, 0);
  for (const auto* rule : {"vocal-in-instrumental", "band-in-a-cappella", "lead-in-tv-mix"}) {
    CHECK_MESSAGE(status_of(sheet, rule) == Status::pass, rule << ": " << words_of(sheet, rule));
    CHECK(has(words_of(sheet, rule), "smallest that could be seen -"));
  }
  sheet = with(0.0316, 0.0316, 0.0316);
  for (const auto* rule : {"vocal-in-instrumental", "band-in-a-cappella", "lead-in-tv-mix"}) {
    CHECK_MESSAGE(status_of(sheet, rule) == Status::fail, rule << ": " << words_of(sheet, rule));
    const auto words = words_of(sheet, rule);
    CHECK_MESSAGE((words.starts_with("-30") || words.starts_with("-29") || words.starts_with("-31")), rule << ": " << words);
    CHECK_FALSE(found(sheet, rule)->where.empty());
  }
  CHECK(status_of(sheet, "version-gain", "voices.wav") == Status::not_measured);
  CHECK_MESSAGE(has(words_of(sheet, "version-gain", "voices.wav"), "the band stands in it at -"), words_of(sheet, "version-gain", "voices.wav"));
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

TEST_CASE("a starting order counts as people do, and on standard output names the folder as it was given") {
  Set set;
  for (const auto* name : {"1 Salt", "10 Tar", "2 Rope", "3 Lamp", "s*r"}) set.put(name, song());
  const auto text = new_order(set.folder.path, "");
  REQUIRE(text);
  CHECK(has(*text, "order = [\n  \"1 Salt.wav\",\n  \"2 Rope.wav\",\n  \"3 Lamp.wav\",\n  \"10 Tar.wav\",\n  \"s*r.wav\",\n]"));
  CHECK(has(*text, "folder = \"" + set.folder.path + "\"\n"));
  CHECK(has(*text, "file = \"s*r.wav\"    # without this very file * and ? stand for other signs"));
}
