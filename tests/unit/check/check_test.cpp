#include <stdlib.h>

#include <algorithm>
#include <atomic>
#include <filesystem>
#include <fstream>

#include <doctest/doctest.h>

#include <sendworthy/check.h>

#include "check/second_opinion.h"
#include "faults/sample.h"

using namespace sendworthy;

namespace {

using test::Folder;

RuleSet rules(const std::string& text) {
  auto set = parse_rule_set("[ruleset]\nname = \"t\"\n" + text, "", {}, catalog());
  REQUIRE(set.has_value());
  return *set;
}

std::string rule(const std::string& keys) {
  return "[[rule]]\nid = \"r\"\n" + keys + "\nwhy = \"w\"\nremedy = \"r\"\nsource = \"s\"\n";
}

Measurement made(const char* key, const char* id, double value) { return {.id = id, .key = key, .outcome = Value(value)}; }

}  // namespace

TEST_SUITE("check/files") {
  TEST_CASE("one file that cannot be read does not stop the others, and the order is that of the paths") {
    const Folder folder;
    const auto good = test::write_sample(folder.path, "b", test::music(), {});
    std::ofstream(folder.path + "/a.wav") << "RIFF but no audio";
    const auto set = rules(rule("measure = \"sample_peak\"\nfail_above = 0"));
    for (const int jobs : {1, 3}) {
      CheckOptions options;
      options.jobs = jobs;
      const auto sheet = check_files({good, folder.path + "/none.wav", folder.path + "/a.wav"}, {set}, options);
      REQUIRE(sheet.files.size() == 3);
      CHECK(sheet.files[0].error->code == ErrorCode::unrecognised);
      CHECK(sheet.files[1].path == good);
      CHECK(sheet.files[1].verdict == Verdict::pass);
      CHECK(sheet.files[1].audio_digest.starts_with("xxh128:"));
      CHECK(!sheet.files[1].cautions.empty());
      CHECK(sheet.files[2].error->code == ErrorCode::missing);
      CHECK(sheet.verdict == Verdict::fail);
    }
  }

  TEST_CASE("what was not measured fails, unless the rule is optional; nothing checked is nothing passed") {
    const Folder folder;
    auto clip = test::music();
    for (auto& channel : clip.channels) channel.resize(4800);  // 0.1 s: no loudness
    const auto path = test::write_sample(folder.path, "short", clip, {});
    const auto verdict = [&](const std::string& keys) {
      return check_files({path}, {rules(rule(keys))}, {}).verdict;
    };
    CHECK(verdict("measure = \"integrated_loudness\"\nfail_above = 0") == Verdict::fail);
    CHECK(verdict("measure = \"integrated_loudness\"\nfail_above = 0\noptional = true") == Verdict::pass);
    CHECK(verdict("measure = \"mains_hum\"\nfail_above = 0") == Verdict::fail);
    CHECK(check_files({}, {rules(rule("measure = \"sample_peak\"\nfail_above = 0"))}, {}).verdict == Verdict::fail);
  }

  TEST_CASE("a file to which no rule applies is not passed") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", test::music(), {});
    const auto sheet = check_files({path}, {rules(rule("measure = \"sample_peak\"\nfail_above = 0\nrole = \"stem\""))}, {});
    REQUIRE(sheet.files[0].findings.size() == 1);
    CHECK(sheet.files[0].findings[0].status == Status::not_measured);
    CHECK(sheet.files[0].skipped.size() == 1);
    CHECK(sheet.verdict == Verdict::fail);
  }

  TEST_CASE("a waiver for a stretch of time does not cover a measurement that names only its worst place") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", test::music(), {});
    const std::string waiver = "[[waiver]]\nrule = \"r\"\nfrom_s = 0\nto_s = 1000\nreason = \"agreed\"\nuntil = 2030-01-01\n";
    CHECK(check_files({path}, {rules(rule("measure = \"sample_peak\"\nfail_above = -60") + waiver)}, {}).verdict == Verdict::fail);
    auto clip = test::music();
    clip.gain_db(12);  // clips
    const auto hot = test::write_sample(folder.path, "hot", clip, {});
    auto sheet = check_files({hot}, {rules(rule("measure = \"clipped_runs\"\nfail_above = 0") + waiver)}, {});
    const auto& finding = sheet.files[0].findings[0];
    // More places than are listed: what lies in the rest is not known, so it is not waived either.
    CHECK((finding.status == Status::waived) == (finding.where_total <= static_cast<std::int64_t>(kMaxWhere)));
  }

  TEST_CASE("of a clipped file nobody says where its peak will be once it is lower") {
    const Folder folder;
    auto clip = test::music();
    const auto set = rules("[[rule]]\nid = \"r\"\nmeasure = \"true_peak\"\nwarn_above = -40\nwhy = \"w\"\nsource = \"s\"\n"
                           "remedy = \"Lower by {change}; then {true_peak_after}.\"\n");
    const auto clean = check_files({test::write_sample(folder.path, "clean", clip, {})}, {set}, {});
    CHECK(clean.files[0].findings[0].true_peak_after_db);
    CHECK(clean.files[0].findings[0].remedy.find("at least") == std::string::npos);
    clip.gain_db(12);
    const auto hot = check_files({test::write_sample(folder.path, "hot", clip, {})}, {set}, {});
    CHECK_FALSE(hot.files[0].findings[0].true_peak_after_db);
    CHECK(hot.files[0].findings[0].remedy.find("Lower by at least") != std::string::npos);
    CHECK(hot.files[0].findings[0].remedy.find("higher than -40.0 dBTP") != std::string::npos);
  }

  TEST_CASE("what a folder holds and nobody can read is not passed over") {
    const Folder folder;
    static_cast<void>(test::write_sample(folder.path, "a", test::music(), {}));
    std::ofstream(folder.path + "/b.m4a") << "not read";
    const auto inputs = expand_inputs({folder.path}, Folders::flat);
    REQUIRE(inputs.files.size() == 2);
    CHECK(check_files(inputs.files, {rules(rule("measure = \"sample_peak\"\nfail_above = 20"))}, {}).verdict == Verdict::fail);
  }

  TEST_CASE("a waiver that was used on no file warns once for the whole set") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", test::music(), {});
    const auto set = rules(rule("measure = \"sample_peak\"\nfail_above = 0") +
                           "[[waiver]]\nrule = \"r\"\nreason = \"agreed\"\nuntil = 2030-01-01\n");
    CheckOptions options;
    options.today = "2026-01-01";
    const auto sheet = check_files({path}, {set}, options);
    REQUIRE(sheet.findings.size() == 1);
    CHECK(sheet.findings[0].status == Status::warn);
    CHECK(sheet.verdict == Verdict::warn);
  }

  TEST_CASE("a stop is said on every file, and progress never runs backwards") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", test::music(), {});
    std::atomic<bool> stop{true};
    CheckHooks hooks;
    hooks.stop = &stop;
    const auto sheet = check_files({path}, {}, {}, hooks);
    CHECK(sheet.files[0].error->code == ErrorCode::interrupted);
    stop = false;
    double last = 0;
    int done = 0;
    hooks.progress = [&](const Progress& p) {
      CHECK(p.fraction >= last);
      last = p.fraction;
    };
    hooks.file_done = [&](const FileSheet&) { ++done; };
    CHECK(!check_files({path}, {}, {}, hooks).files[0].error);
    CHECK(done == 1);
  }

  TEST_CASE("SHA-256 of the file where it is asked for") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", test::music(), {});
    CheckOptions options;
    CHECK(check_files({path}, {}, options).files[0].file_digest.empty());
    options.file_digest = true;
    const auto digest = check_files({path}, {}, options).files[0].file_digest;
    CHECK(digest.starts_with("sha256:"));
    CHECK(digest.size() == 7 + 64);
  }
}

TEST_SUITE("check/second opinion") {
  TEST_CASE("agreement passes, disagreement warns, a true peak that reads lower is no disagreement") {
    std::vector<Measurement> list{made("integrated_loudness", "integrated_loudness", -16),
                                  made("second_meter.integrated_loudness", "integrated_loudness", -16.05),
                                  made("true_peak", "true_peak", -1), made("second_meter.true_peak", "true_peak", -1.4)};
    const auto status = [&](const char* id) {
      const auto findings = second_opinion(list);
      return std::find_if(findings.begin(), findings.end(), [&](const Finding& f) { return f.rule == id; })->status;
    };
    CHECK(status("second-meter-integrated") == Status::pass);
    CHECK(status("second-meter-true-peak") == Status::pass);
    CHECK(status("second-meter-range") == Status::note);
    list[1].outcome = Value(-15.8);
    list[3].outcome = Value(-0.8);
    CHECK(status("second-meter-integrated") == Status::warn);
    CHECK(status("second-meter-true-peak") == Status::warn);
  }

  TEST_CASE("on real music the two meters agree") {
    const Folder folder;
    CheckOptions options;
    options.second_meter = true;
    const auto sheet = check_files({test::write_sample(folder.path, "a", test::music(), {})}, {}, options);
    int compared = 0;
    for (const auto& finding : sheet.files[0].findings) {
      if (finding.ruleset != "second-meter") continue;
      ++compared;
      CHECK(finding.status == Status::pass);
    }
    CHECK(compared == 4);
  }
}
