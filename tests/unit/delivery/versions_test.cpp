// Versions and stems of a song against its main mix: each finding passing, and failing by a small fault.
#include "ordered_set.h"

#include <cmath>
#include <numbers>

#include "delivery/version_findings.h"

using namespace sendworthy;
using namespace ordered;
using test::Clip;
using test::Wrapping;

namespace fs = std::filesystem;

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

TEST_CASE("level and place of versions are settled by their sum only where nothing is left of it as they are") {
  // A voice 40 dB down has nothing in common with the mix that could be found; that both add up tells where it stands.
  const auto music = repeated(band(), 0), voice = times(repeated(singer(), 70001), 0.005);
  const auto with = [&](const Clip& voices) {
    Set set;
    set.add("main", "main", sum(music, voice));
    set.add("instrumental", "instrumental", music);
    set.add("a cappella", "voices", voices);
    return set.check();
  };
  const auto right = with(voice), late = with(later(voice, 1));
  CHECK_MESSAGE(status_of(right, "aligned", "voices.wav") == Status::pass, words_of(right, "aligned", "voices.wav"));
  CHECK_MESSAGE(status_of(right, "version-gain", "instrumental.wav") == Status::pass, words_of(right, "version-gain", "instrumental.wav"));
  CHECK_MESSAGE(status_of(late, "aligned", "voices.wav") != Status::pass, words_of(late, "aligned", "voices.wav"));
}

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

TEST_CASE("a version with one channel late is not in line, as a whole file or as a mix without a part") {
  const auto late = [](Clip clip, std::size_t channel, std::ptrdiff_t frames) {
    auto& x = clip.channels[channel];
    const auto length = x.size();
    if (frames > 0) x.insert(x.begin(), static_cast<std::size_t>(frames), 0.0);
    else x.erase(x.begin(), x.begin() - frames);
    x.resize(length);
    return clip;
  };
  const auto words = [](const Clip& instrumental) {
    Set set;
    set.add("main", "main", repeated(song(), 0));
    set.add("instrumental", "instrumental", instrumental);
    const auto sheet = set.check();
    return std::pair{status_of(sheet, "aligned", "instrumental.wav"), words_of(sheet, "aligned", "instrumental.wav")};
  };
  const auto music = repeated(band(), 0), whole = repeated(song(), 0);
  const auto check = [&](const Clip& instrumental, Status status, const std::string& part) {
    const auto got = words(instrumental);
    CHECK_MESSAGE(got.first == status, got.second);
    CHECK_MESSAGE(has(got.second, part), got.second);
  };
  check(music, Status::pass, "to the frame");
  check(late(music, 1, 5), Status::fail, "its right channel 5 frames late");
  check(late(music, 0, -1), Status::fail, "its left channel 1 frame early");
  check(late(whole, 0, 240), Status::fail, "channel 240 frames");
}

TEST_CASE("a TV mix keeps its backing voices") {
  const auto music = repeated(band(), 0), lead = repeated(singer(), 70001);
  auto choir = singer();
  for (std::size_t c = 0; c < choir.channels.size(); ++c) {
    const auto& from = test::music().channels[c];
    for (std::size_t n = 0; n < from.size(); ++n) choir.channels[c][n] = 0.15 * from[(3 * n + 11 * static_cast<std::size_t>(choir.rate)) % from.size()];
  }
  const auto backing = repeated(choir, 130003);
  const auto with = [&](double in_tv, const std::string& role, const std::string& name) {
    Set set;
    set.add("main", "main", sum(sum(music, lead), backing));
    set.add("tv mix", "tv", sum(music, times(backing, in_tv)));
    set.add("stem", name, lead, "role = \"" + role + "\"\nrules = \"./loose.toml\"\n");
    set.add("stem", "choir", backing, "role = \"backing vocal\"\nrules = \"./loose.toml\"\n");
    return set.check();
  };
  auto sheet = with(1, "lead vocal", "lead");
  CHECK_MESSAGE(status_of(sheet, "lead-in-tv-mix") == Status::pass, words_of(sheet, "lead-in-tv-mix"));
  CHECK_MESSAGE(has(words_of(sheet, "lead-in-tv-mix", "choir.wav"), "backing voice \"choir.wav\" there, at "), words_of(sheet, "lead-in-tv-mix", "choir.wav"));
  sheet = with(0, "lead vocal", "lead");
  CHECK(status_of(sheet, "lead-in-tv-mix", "choir.wav") == Status::fail);
  CHECK_MESSAGE(has(words_of(sheet, "lead-in-tv-mix", "choir.wav"), "backing voice \"choir.wav\" missing"), words_of(sheet, "lead-in-tv-mix", "choir.wav"));
  // "lead" alone may be a guitar: the name has to say that it is a voice.
  CHECK(has(words_of(with(1, "lead", "lead voice"), "lead-in-tv-mix", "lead voice.wav"), "by the stem"));
  CHECK(words_of(with(1, "lead", "lead guitar"), "lead-in-tv-mix", "lead guitar.wav") == "no finding");
}

TEST_CASE("instrumental and a cappella that are changed about") {
  // Voices have next to nothing around 63 Hz.
  auto voice = repeated(singer(), 70001);
  for (auto& x : voice.channels) {
    for (int pass = 0; pass < 4; ++pass) {
      double last_in = 0, last_out = 0;
      for (auto& v : x) {
        const double in = v;
        last_out = 0.97 * (last_out + in - last_in);
        last_in = in, v = last_out;
      }
    }
  }
  // A kick on every half second: 60 Hz that die away.
  const auto music = changed(repeated(band(), 0), [&](auto& x) {
    const double rate = voice.rate;
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double t = std::fmod(static_cast<double>(n) / rate, 0.5);
      x[n] += 0.2 * std::exp(-12 * t) * std::sin(2 * std::numbers::pi * 60 * t);
    }
  });
  const auto with = [&](const Clip& instrumental, const Clip& voices) {
    Set set;
    set.add("main", "main", sum(music, voice));
    set.add("instrumental", "instrumental", instrumental);
    set.add("a cappella", "voices", voices);
    return set.check();
  };
  const auto right = with(music, voice), wrong = with(voice, music);
  for (const auto* rule : {"band-in-a-cappella", "vocal-in-instrumental"}) CHECK_MESSAGE(status_of(right, rule) == Status::pass, words_of(right, rule));
  CHECK(status_of(wrong, "band-in-a-cappella") == Status::fail);
  CHECK_MESSAGE(has(words_of(wrong, "band-in-a-cappella"), "are the two changed about?"), words_of(wrong, "band-in-a-cappella"));
  CHECK(status_of(wrong, "vocal-in-instrumental") == Status::not_measured);
}

TEST_CASE("a surround mix that folds down to the stereo mix, and one that does not") {
  // ITU-R BS.775-3, Table 2: centre and surrounds at -3 dB into the sides.
  const auto half = std::sqrt(0.5);
  auto surround = song();
  const auto& sides = song();
  const auto frames = sides.channels[0].size();
  const auto voice = times(singer(), 0.5);
  surround.channels.resize(6, std::vector<double>(frames, 0.0));
  auto stereo = sides;
  for (std::size_t n = 0; n < frames; ++n) {
    surround.channels[2][n] = voice.channels[0][n], surround.channels[4][n] = 0.3 * sides.channels[1][(n + 9000) % frames], surround.channels[5][n] = 0.3 * sides.channels[0][(n + 9000) % frames];
    for (std::size_t c = 0; c < 2; ++c) stereo.channels[c][n] += half * (surround.channels[2][n] + surround.channels[4 + c][n]);
  }
  const auto with = [&](const Clip& main) {
    Set set;
    set.add("main", "main", main);
    set.add("alternate", "surround", surround, "against = \"main\"\nrules = \"./loose.toml\"\n", {.speakers = 0x3F});
    return set.check();
  };
  const auto right = with(stereo), wrong = with(sides);
  CHECK_MESSAGE(status_of(right, "fold-down") == Status::pass, words_of(right, "fold-down"));
  CHECK_MESSAGE(has(words_of(right, "fold-down"), "the same mix folded down"), words_of(right, "fold-down"));
  CHECK_MESSAGE(status_of(wrong, "fold-down") == Status::warn, words_of(wrong, "fold-down"));
  CHECK_MESSAGE(has(words_of(wrong, "fold-down"), "different mix"), words_of(wrong, "fold-down"));
  CHECK(found(right, "not-identical", "surround.wav") == nullptr);
}
