// From findings to verdicts, of one file and of many; and what does not change them.
#include <doctest/doctest.h>
#include <sendworthy/check.h>
#include <sndfile.h>
#include <stdlib.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "faults/sample.h"

using namespace sendworthy;

namespace {

using test::Folder;

RuleSet rules(const std::string& text) {
  auto set = parse_rule_set("[ruleset]\nname = \"t\"\n" + text, "", {}, catalog());
  REQUIRE(set.has_value());
  return *set;
}

std::string rule(const std::string& id, const std::string& keys) {
  return "[[rule]]\nid = \"" + id + "\"\n" + keys + "\nwhy = \"w\"\nremedy = \"r\"\nsource = \"s\"\n";
}

Finding finding(Status status, bool optional = false) {
  Finding f;
  f.status = status;
  f.optional = optional;
  return f;
}

test::Clip clip(double gain_db, std::int64_t frames = 48000) {
  auto out = test::music();
  for (auto& channel : out.channels) channel.resize(static_cast<std::size_t>(frames));
  return out.gain_db(gain_db);
}

/// Everything a sheet says about a file that does not depend on its container, as text.
std::map<std::string, std::string> said(const FileSheet& file, bool with_format) {
  std::map<std::string, std::string> out;
  for (const auto& m : file.measurements) {
    const auto* entry = catalog().find(m.id);
    REQUIRE(entry != nullptr);
    // Names and tags are no sound either.
    if (!with_format && (entry->group == Group::format || entry->group == Group::names)) continue;
    std::string text = m.note + "|" + std::to_string(m.where_total);
    if (const auto value = number(m.outcome)) text += "|" + std::to_string(*value);
    for (const auto& where : m.where)
      text += "|" + std::to_string(where.start_frame) + "," + std::to_string(where.channel);
    out[m.key] = text + "|" + std::to_string(m.outcome.index());
  }
  for (const auto& f : file.findings)
    out["finding " + f.ruleset + " " + f.rule] = std::to_string(static_cast<int>(f.status)) + f.note + f.remedy;
  return out;
}

}  // namespace

TEST_SUITE("check/verdict") {
  TEST_CASE("the worst finding decides; notes, waived and optional ones without a reading do not") {
    CHECK(verdict_of({}) == Verdict::pass);
    CHECK(verdict_of({finding(Status::pass), finding(Status::note), finding(Status::waived)}) == Verdict::pass);
    CHECK(verdict_of({finding(Status::warn), finding(Status::pass)}) == Verdict::warn);
    CHECK(verdict_of({finding(Status::not_measured, true)}) == Verdict::pass);
    CHECK(verdict_of({finding(Status::not_measured)}) == Verdict::fail);
    CHECK(verdict_of({finding(Status::fail), finding(Status::warn)}) == Verdict::fail);
    CHECK(verdict_of({finding(Status::warn), finding(Status::fail)}) == Verdict::fail);
    // Optional excuses a missing reading, not a bad one.
    CHECK(verdict_of({finding(Status::fail, true)}) == Verdict::fail);
  }

  TEST_CASE("the verdict of a set is that of its worst file") {
    const Folder folder;
    const auto set = rules(rule("p", "measure = \"sample_peak\"\nwarn_above = -20.0\nfail_above = -9.0"));
    const auto soft = test::write_sample(folder.path, "soft", clip(-20), {});
    const auto middle = test::write_sample(folder.path, "middle", clip(-5), {});
    const auto loud = test::write_sample(folder.path, "loud", clip(6), {});
    const auto verdict = [&](const std::vector<std::string>& paths) { return check_files(paths, {set}, {}).verdict; };
    CHECK(verdict({soft}) == Verdict::pass);
    CHECK(verdict({soft, middle}) == Verdict::warn);
    CHECK(verdict({soft, middle, loud}) == Verdict::fail);
    CHECK(verdict({soft, folder.path + "/absent.wav"}) == Verdict::fail);
  }

  TEST_CASE("two rule sets are judged each by itself, and a parameter asked for by one is measured") {
    const Folder folder;
    auto one = rules(rule("a", "measure = \"side_level_low\"\nfail_above = 60.0\nbelow_hz = 200"));
    auto two = rules(rule("a", "measure = \"side_level_low\"\nfail_above = -143.0"));
    two.name = "u";
    const auto sheet = check_files({test::write_sample(folder.path, "a", clip(0, 48000 * 3), {})}, {one, two}, {});
    REQUIRE(sheet.files.at(0).findings.size() == 2);
    std::map<std::string, const Finding*> by_set;
    for (const auto& f : sheet.files[0].findings) by_set[f.ruleset] = &f;
    REQUIRE(by_set.size() == 2);
    CHECK(by_set.at("t")->status == Status::pass);
    CHECK(by_set.at("u")->status == Status::fail);
    CHECK(by_set.at("t")->key == "side_level_low(below_hz=200)");
    CHECK(by_set.at("u")->key == "side_level_low");
  }

  TEST_CASE("a stop in the middle leaves no half sheet behind, and files after it are said to be interrupted") {
    const Folder folder;
    std::vector<std::string> paths;
    for (const char* name : {"a", "b", "c"})
      paths.push_back(test::write_sample(folder.path, name, clip(0, 48000 * 8), {}));
    std::atomic<bool> stop{false};
    CheckHooks hooks;
    hooks.stop = &stop;
    hooks.progress = [&](const Progress& p) {
      if (p.file == 1) stop = true;
    };
    int done = 0;
    hooks.file_done = [&](const FileSheet&) { ++done; };
    const auto sheet = check_files(paths, {rules(rule("p", "measure = \"sample_peak\"\nfail_above = 0.0"))}, {}, hooks);
    REQUIRE(sheet.files.size() == 3);
    CHECK(!sheet.files[0].error);
    CHECK(sheet.files[0].verdict == Verdict::pass);
    for (const std::size_t i : {1u, 2u}) {
      REQUIRE(sheet.files[i].error);
      CHECK(sheet.files[i].error->code == ErrorCode::interrupted);
      CHECK(sheet.files[i].measurements.empty());
      CHECK(sheet.files[i].findings.empty());
      CHECK(sheet.files[i].audio_digest.empty());
      CHECK(sheet.files[i].verdict == Verdict::fail);
    }
    CHECK(sheet.verdict == Verdict::fail);
    CHECK(done == 3);
  }

  TEST_CASE("every file gets its sheet, whatever is broken around it") {
    const Folder folder;
    const auto good = test::write_sample(folder.path, "m good", clip(0), {});
    std::vector<std::string> paths{folder.path + "/absent.wav", folder.path, good};
    const auto add = [&](const std::string& name, const std::string& bytes) {
      paths.push_back(folder.path + "/" + name);
      std::ofstream(paths.back(), std::ios::binary) << bytes;
    };
    add("empty.wav", "");
    add("text.wav", "this is no audio at all, only words");
    add("riff.wav", std::string("RIFF\xff\xff\xff\xffWAVE", 12));
    add("fLaC.flac", "fLaC");
    for (const int jobs : {1, 4}) {
      CheckOptions options;
      options.jobs = jobs;
      std::multiset<std::string> done;
      CheckHooks hooks;
      hooks.file_done = [&](const FileSheet& file) { done.insert(file.path); };
      const auto sheet = check_files(paths, {}, options, hooks);
      REQUIRE(sheet.files.size() == paths.size());
      CHECK(done == std::multiset<std::string>(paths.begin(), paths.end()));
      for (const auto& file : sheet.files) {
        CAPTURE(file.path);
        CHECK(file.error.has_value() == (file.path != good));
        if (!file.error) continue;
        CHECK(file.verdict == Verdict::fail);
        CHECK(file.error->text.find(file.path) != std::string::npos);
        CHECK(file.measurements.empty());
      }
    }
  }

  TEST_CASE("second meter: nothing to compare on silence is a note, and never a verdict") {
    const Folder folder;
    auto none = clip(0, 48000 * 2);
    none.each([](double) { return 0.0; });
    CheckOptions options;
    options.second_meter = true;
    const auto sheet = check_files({test::write_sample(folder.path, "none", none, {})}, {}, options);
    REQUIRE(!sheet.files.at(0).findings.empty());
    for (const auto& f : sheet.files[0].findings) CHECK(f.status == Status::note);
    CHECK(sheet.files[0].verdict == Verdict::pass);
  }
}

TEST_SUITE("check/threads") {
  TEST_CASE("files, order and every word are the same on any number of threads and in any order named") {
    const Folder folder;
    std::vector<std::string> paths;
    for (int i = 0; i < 7; ++i)
      paths.push_back(test::write_sample(folder.path, std::string(1, static_cast<char>('a' + i)),
                                         clip(-i, 30000 + 9000 * (i % 3)), {}));
    paths.push_back(paths[2]);  // named twice: judged twice
    paths.push_back(folder.path + "/absent.wav");
    const auto set = rules(rule("p", "measure = \"true_peak\"\nfail_above = -9.0") +
                           rule("l", "measure = \"integrated_loudness\"\nfail_above = -20.0"));
    const auto first = check_files(paths, {set}, {});
    CHECK(std::is_sorted(first.files.begin(), first.files.end(),
                         [](const auto& a, const auto& b) { return a.path < b.path; }));
    auto shuffled = paths;
    std::reverse(shuffled.begin(), shuffled.end());
    std::swap(shuffled[0], shuffled[4]);
    for (const int jobs : {2, 5, 16}) {
      CheckOptions options;
      options.jobs = jobs;
      const auto again = check_files(shuffled, {set}, options);
      REQUIRE(again.files.size() == first.files.size());
      CHECK(again.verdict == first.verdict);
      for (std::size_t i = 0; i < first.files.size(); ++i) {
        CAPTURE(jobs);
        CHECK(again.files[i].path == first.files[i].path);
        CHECK(again.files[i].audio_digest == first.files[i].audio_digest);
        CHECK(again.files[i].verdict == first.files[i].verdict);
        CHECK(said(again.files[i], true) == said(first.files[i], true));
      }
    }
  }
}

TEST_SUITE("check/containers") {
  TEST_CASE("the container changes no word about the sound") {
    const Folder folder;
    // Written as integers, so that no writer's own rounding comes in.
    std::vector<std::int32_t> codes;
    const auto sound = clip(0, 48000 * 4);
    for (std::int64_t n = 0; n < sound.frames(); ++n) {
      for (const auto& channel : sound.channels)
        codes.push_back(static_cast<std::int32_t>(std::lround(channel[static_cast<std::size_t>(n)] * 8388608) * 256));
    }
    const auto set = rules(rule("p", "measure = \"true_peak\"\nfail_above = -9.0"));
    const auto checked = [&](const std::string& name, int format) {
      SF_INFO info{};
      info.samplerate = sound.rate, info.channels = 2, info.format = format | SF_FORMAT_PCM_24;
      const auto path = folder.path + "/" + name;
      SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
      REQUIRE(file != nullptr);
      REQUIRE(sf_writef_int(file, codes.data(), sound.frames()) == sound.frames());
      sf_close(file);
      return check_files({path}, {set}, {});
    };
    const auto wav = checked("plain.wav", SF_FORMAT_WAV);
    REQUIRE(!wav.files.at(0).error);
    for (const auto& [container, format, ending] :
         {std::tuple{"RIFX", SF_FORMAT_WAV | static_cast<int>(SF_ENDIAN_BIG), "rifx.wav"},
          {"RF64", SF_FORMAT_RF64, "rf64.wav"},
          {"W64", SF_FORMAT_W64, "w64.w64"},
          {"AIFF", SF_FORMAT_AIFF, "aiff.aiff"},
          {"CAF", SF_FORMAT_CAF, "caf.caf"},
          {"FLAC", SF_FORMAT_FLAC, "flac.flac"}}) {
      const auto& ending_here = ending;
      CAPTURE(ending_here);
      const auto other = checked(ending, format);
      REQUIRE(!other.files.at(0).error);
      CHECK(other.files[0].facts.container == container);
      CHECK(other.files[0].audio_digest == wav.files[0].audio_digest);
      CHECK(said(other.files[0], false) == said(wav.files[0], false));
    }
  }
}
