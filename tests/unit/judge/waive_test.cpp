#include <doctest/doctest.h>

#include "judge/evaluate.h"
#include "judge/waive.h"
#include "unit/judge/fake_catalog.h"

using namespace sendworthy;
using namespace sendworthy::judge;

namespace {

const std::string kDigest = "xxh128:00112233445566778899aabbccddeeff";

RuleSet with_waiver(const std::string& waiver, const std::string& rule = "fail_above = 0") {
  auto set = parse_rule_set("[ruleset]\nname = \"t\"\n[[rule]]\nid = \"clip\"\nmeasure = \"clipped_runs\"\n" + rule +
                                "\n[[rule]]\nid = \"peak\"\nmeasure = \"true_peak\"\nwarn_above = "
                                "-1\n[[waiver]]\nreason = \"agreed by mail\"\nby = \"ab\"\n" +
                                waiver + "\n",
                            "", {}, test::fake_catalog());
  REQUIRE_MESSAGE(set.has_value(), (set ? "" : to_string(set.error())));
  return *set;
}

Subject subject(const std::string& today = "2026-06-01") {
  Subject made;
  made.path = "out/song-radio-v2.wav";
  made.audio_digest = kDigest;
  made.channels = 2;
  made.duration_s = 100;
  made.today = today;
  return made;
}

std::vector<Measurement> clipped(std::vector<Where> where = {{.start_s = 5, .end_s = 5.1}}, std::int64_t total = -1) {
  Measurement clip{.id = "clipped_runs", .key = "clipped_runs", .outcome = Value(1.0)};
  clip.where = std::move(where);
  clip.where_total = total < 0 ? static_cast<std::int64_t>(clip.where.size()) : total;
  return {clip, {.id = "true_peak", .key = "true_peak", .outcome = Value(-3.0)}};
}

Judgement judged(const std::string& waiver, const Subject& about = subject(),
                 const std::vector<Measurement>& list = clipped()) {
  return evaluate(with_waiver(waiver), list, about, test::fake_catalog());
}

bool waived(const Judgement& judgement) { return judgement.findings.at(0).status == Status::waived; }

}  // namespace

TEST_SUITE("judge/waivers") {
  TEST_CASE("a waived finding keeps its status beside the reason") {
    const auto judgement = judged("rule = \"clip\"\nuntil = 2026-06-30");
    const auto& finding = judgement.findings.at(0);
    CHECK(finding.status == Status::waived);
    CHECK(finding.before_waiver == Status::fail);
    REQUIRE(finding.waiver.has_value());
    CHECK(finding.waiver->reason == "agreed by mail");
    CHECK(finding.waiver->by == "ab");
    CHECK(finding.waiver->until == "2026-06-30");
    CHECK(judgement.used_waivers == std::vector<std::size_t>{0});
    CHECK(judgement.findings.size() == 2);
    CHECK(verdict_of(judgement.findings) == Verdict::pass);
  }

  TEST_CASE("the last day counts, the day after fails") {
    CHECK(waived(judged("rule = \"clip\"\nuntil = 2026-06-01")));
    const auto ended = judged("rule = \"clip\"\nuntil = 2026-05-31");
    CHECK(ended.findings.at(0).status == Status::fail);
    REQUIRE(ended.findings.size() == 3);
    CHECK(ended.findings[2].status == Status::fail);
    CHECK(ended.findings[2].rule == "clip");
    CHECK(std::get<std::string>(std::get<Value>(ended.findings[2].outcome)) == "waiver ended on 2026-05-31");
    CHECK(ended.findings[2].why == "The waiver for clip held until 2026-05-31; today is 2026-06-01.");
    CHECK(ended.used_waivers.size() == 1);
    // Also when the fault is gone: somebody has to take the line out.
    CHECK(verdict_of(judged("rule = \"peak\"\nuntil = 2026-05-31").findings) == Verdict::fail);
  }

  TEST_CASE("without a date no waiver ends, and that is said") {
    const auto judgement = judged("rule = \"clip\"\nuntil = 2001-01-01", subject(""));
    CHECK(waived(judgement));
    REQUIRE(judgement.findings.size() == 3);
    CHECK(judgement.findings[2].status == Status::note);
    CHECK(judgement.findings[2].why ==
          "Waivers were applied without looking at their last day, because no date was given.");
  }

  TEST_CASE("files are matched by path and by name") {
    const std::string tail = "\nuntil = 2026-06-30";
    CHECK(waived(judged("rule = \"clip\"\nfiles = \"*-radio-*\"" + tail)));
    CHECK(waived(judged("rule = \"clip\"\nfiles = \"song-radio-v?.wav\"" + tail)));
    CHECK(waived(judged("rule = \"clip\"\nfiles = \"out/*\"" + tail)));
    const auto other = judged("rule = \"clip\"\nfiles = \"*-album-*\"" + tail);
    CHECK(!waived(other));
    CHECK(other.used_waivers.empty());
  }

  TEST_CASE("a waiver with a digest ends with that bounce") {
    CHECK(waived(judged("rule = \"clip\"\naudio = \"" + kDigest + "\"\nuntil = 2026-06-30")));
    CHECK(!waived(judged("rule = \"clip\"\naudio = \"xxh128:ffffffffffffffffffffffffffffffff\"\nuntil = 2026-06-30")));
  }

  TEST_CASE("a stretch of time covers a finding only when all its places lie inside") {
    const std::string waiver = "rule = \"clip\"\nfrom_s = 4\nto_s = 9\nuntil = 2026-06-30";
    CHECK(waived(judged(waiver)));
    CHECK(waived(judged(waiver, subject(), clipped({{.start_s = 4, .end_s = 9}}))));
    CHECK(!waived(judged(waiver, subject(), clipped({{.start_s = 5, .end_s = 5.1}, {.start_s = 50, .end_s = 50.1}}))));
    CHECK(!waived(judged(waiver, subject(), clipped({{.start_s = 8.9, .end_s = 9.1}}))));
    CHECK(!waived(judged(waiver, subject(), clipped({{.start_s = 5, .end_s = 5.1}}, 40))));  // not all places are known
    CHECK(!waived(judged(waiver, subject(), clipped({}))));
    CHECK(waived(judged("rule = \"clip\"\nto_s = 9\nuntil = 2026-06-30")));
    CHECK(!waived(judged("rule = \"clip\"\nfrom_s = 9\nuntil = 2026-06-30")));
  }

  TEST_CASE("several stretches cover together what none covers alone, and one that holds a place has met its fault") {
    const std::string early = "rule = \"clip\"\nfrom_s = 4\nto_s = 9\nuntil = 2026-06-30";
    const std::string both = early + "\n[[waiver]]\nreason = \"agreed\"\nrule = \"clip\"\nfrom_s = 49\nto_s = 60\nuntil = 2026-06-20";
    const std::vector<Where> two{{.start_s = 5, .end_s = 5.1}, {.start_s = 50, .end_s = 50.1}};
    const auto together = judged(both, subject(), clipped(two));
    CHECK(waived(together));
    CHECK(together.used_waivers.size() == 2);
    CHECK(together.findings.at(0).waiver->until == "2026-06-20");
    // A third place that nobody agreed to: still a fault, and no waiver is called unused.
    auto three = two;
    three.push_back({.start_s = 20, .end_s = 20.1});
    const auto partly = judged(both, subject(), clipped(three));
    CHECK(!waived(partly));
    CHECK(partly.used_waivers.size() == 2);
    CHECK(judged(both, subject(), clipped({{.start_s = 20, .end_s = 20.1}})).used_waivers.empty());
  }

  TEST_CASE("only warn, fail and not measured can be waived") {
    CHECK(judged("rule = \"peak\"\nuntil = 2026-06-30").used_waivers.empty());  // it passes
    const auto set = with_waiver("rule = \"clip\"\nuntil = 2026-06-30", "note_above = 0");
    CHECK(evaluate(set, clipped(), subject(), test::fake_catalog()).findings[0].status == Status::note);
    const auto unmeasured =
        evaluate(with_waiver("rule = \"clip\"\nuntil = 2026-06-30"), {}, subject(), test::fake_catalog());
    CHECK(unmeasured.findings[0].status == Status::waived);
    CHECK(unmeasured.findings[0].before_waiver == Status::not_measured);
    const auto optional =
        evaluate(with_waiver("rule = \"clip\"\nuntil = 2026-06-30", "fail_above = 0\noptional = true"), {}, subject(),
                 test::fake_catalog());
    CHECK(optional.findings[0].status == Status::not_measured);
  }

  TEST_CASE("a waiver that nothing used is a warning about the set") {
    const auto set = with_waiver("rule = \"peak\"\nfiles = \"*.wav\"\nuntil = 2026-06-30");
    const auto findings = unused_waivers(set, {}, "2026-01-01");
    REQUIRE(findings.size() == 1);
    CHECK(findings[0].status == Status::warn);
    CHECK(findings[0].rule == "peak");
    CHECK(findings[0].measure.empty());
    CHECK(findings[0].why == "The waiver for peak in files like \"*.wav\" met no fault in any file of this run.");
    CHECK(unused_waivers(set, {0, 0}, "2026-01-01").empty());
  }

  TEST_CASE("of findings about a set: by stretches where all places are named, file by file where each is at fault, and ended ones once") {
    const auto waiver = [](const std::string& files, std::optional<double> from_s = {}, std::optional<double> to_s = {}, const std::string& until = "2027-01-31") {
      Waiver one;
      one.rule = "low", one.files = files, one.from_s = from_s, one.to_s = to_s, one.reason = "agreed for " + files, one.by = "R. T.", one.until = until;
      return one;
    };
    const auto applied = [](const Finding& finding, const std::vector<Waiver>& waivers) {
      Sheet sheet;
      for (const auto* path : {"kick.wav", "snare.wav", "mix.wav"}) sheet.files.emplace_back().path = path;
      sheet.findings.push_back(finding);
      judge::apply_waivers(waivers, "plan", "song.toml", "2026-06-30", sheet);
      return sheet;
    };
    Finding finding;
    finding.rule = "low", finding.ruleset = "plan", finding.status = Status::warn, finding.outcome = Value(std::string("low"));
    finding.files = {"kick.wav", "snare.wav", "mix.wav"};
    finding.where = {{.start_s = 24, .end_s = 36}}, finding.where_total = 1;

    // The worst place alone is met by no stretch, and the waiver is told not to be used.
    auto sheet = applied(finding, {waiver("", 0, 100)});
    CHECK(sheet.findings[0].status == Status::warn);
    REQUIRE(sheet.findings.size() == 2);
    CHECK(sheet.findings[1].why.find("names all of its places") != std::string::npos);
    auto every = finding;
    every.every_place = true;
    CHECK(applied(every, {waiver("", 0, 100)}).findings[0].status == Status::waived);
    CHECK(applied(every, {waiver("", 0, 100)}).findings.size() == 1);
    CHECK(applied(every, {waiver("", 0, 30)}).findings[0].status == Status::warn);

    // For any of the files, or for each.
    CHECK(applied(finding, {waiver("kick*")}).findings[0].status == Status::waived);
    auto each = finding;
    each.each_file = true;
    CHECK(applied(each, {waiver("kick*")}).findings[0].status == Status::warn);
    CHECK(applied(each, {waiver("")}).findings[0].status == Status::waived);
    sheet = applied(each, {waiver("kick*"), waiver("snare*")});
    REQUIRE(sheet.findings[0].status == Status::waived);
    CHECK(sheet.findings[0].waiver->reason == "agreed for kick*; agreed for snare*");
    CHECK(sheet.findings.size() == 1);

    sheet = applied(finding, {waiver("", {}, {}, "2026-01-31")});
    REQUIRE(sheet.findings.size() == 2);
    CHECK(sheet.findings[1].status == Status::fail);
    for (const auto& file : sheet.files) CHECK(file.findings.empty());
  }
}
