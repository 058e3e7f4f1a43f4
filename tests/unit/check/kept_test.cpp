// Files that were measured before: when their readings are taken, when not, and what is judged anew.
#include <stdlib.h>

#include <atomic>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <mutex>

#include <doctest/doctest.h>

#include <sendworthy/check.h>
#include <sendworthy/render.h>
#include <sendworthy/store.h>

#include "audio/bytes.h"
#include "faults/sample.h"

using namespace sendworthy;
namespace fs = std::filesystem;

namespace {

using test::Folder;

class MemoryStore final : public ReadingStore {
 public:
  std::optional<Readings> find(const std::string& key) override {
    const std::lock_guard lock(mutex);
    const auto found = held.find(key);
    if (found == held.end()) return std::nullopt;
    ++hits;
    return found->second;
  }
  void keep(const std::string& key, const Readings& readings) override {
    const std::lock_guard lock(mutex);
    held[key] = readings;
    if (on_keep) on_keep();
  }
  std::mutex mutex;
  std::map<std::string, Readings> held;
  std::function<void()> on_keep;
  int hits = 0;
};

RuleSet rules(const std::string& text) {
  auto set = parse_rule_set("[ruleset]\nname = \"t\"\n" + text, "", {}, catalog());
  REQUIRE(set.has_value());
  return *set;
}

std::string rule(const std::string& keys) {
  return "[[rule]]\nid = \"r\"\n" + keys + "\nwhy = \"w\"\nremedy = \"r\"\nsource = \"s\"\n";
}

const std::string kPeak = rule("measure = \"sample_peak\"\nfail_above = -100");

test::Clip short_clip(std::size_t channels = 2) {
  auto clip = test::music();
  clip.channels.resize(channels);
  for (auto& channel : clip.channels) channel.resize(48000);
  return clip;
}

struct Run {
  MemoryStore& store;
  int measured = 0, taken = 0;  // of the last call

  Sheet operator()(const std::vector<std::string>& paths, const std::vector<RuleSet>& sets, const CheckOptions& options = {},
                   const std::atomic<bool>* stop = nullptr) {
    const auto kept = store.held.size();
    const auto hits = store.hits;
    auto sheet = check_files(paths, sets, options, {.stop = stop, .store = &store});
    measured = static_cast<int>(store.held.size() - kept);
    taken = store.hits - hits;
    return sheet;
  }
};

// Measured while another hand does something to the file.
template <class F>
std::size_t kept_while(const std::string& path, F meddle) {
  MemoryStore store;
  bool done = false;
  CheckHooks hooks;
  hooks.store = &store;
  hooks.progress = [&](const Progress&) {
    if (!done) meddle();
    done = true;
  };
  const auto sheet = check_files({path}, {rules(kPeak)}, {}, hooks);
  CHECK(done);
  return store.held.size();
}

}  // namespace

TEST_SUITE("check/kept") {
  TEST_CASE("readings that say to be of a file of another length are not taken") {
    const Folder folder;
    const std::vector<std::string> paths{test::write_sample(folder.path, "a", short_clip(), {})};
    MemoryStore store;
    Run run{store};
    const auto first = run(paths, {rules(kPeak)});
    REQUIRE(store.held.size() == 1);
    auto& held = store.held.begin()->second;
    CHECK(held.facts.file_size == static_cast<std::int64_t>(fs::file_size(paths.front())));
    held.facts.file_size -= 1, held.facts.container = "other";
    const auto second = run(paths, {rules(kPeak)});
    CHECK(run.taken == 1);  // found, and not believed
    CHECK(render_json(second, catalog()) == render_json(first, catalog()));
    CHECK(store.held.begin()->second.facts.container == first.files.front().facts.container);  // and measured anew
  }

  TEST_CASE("the second run takes what the first one measured, and every format comes out the same") {
    const Folder folder;
    const std::vector<std::string> paths{test::write_sample(folder.path, "a", short_clip(), {}),
                                         test::write_sample(folder.path, "b", short_clip(1), {.bits = 16}),
                                         folder.path + "/none.wav"};
    MemoryStore store;
    Run run{store};
    CheckOptions options;
    options.pictures = options.second_meter = options.file_digest = true;
    options.today = "2026-01-01";
    options.jobs = 2;
    const auto set = rules(kPeak);
    const auto fresh = check_files(paths, {set}, options);
    const auto first = run(paths, {set}, options);
    CHECK(run.measured == 2);
    CHECK(run.taken == 0);
    const auto second = run(paths, {set}, options);
    CHECK(run.measured == 0);
    CHECK(run.taken == 2);
    for (const auto* sheet : {&first, &second}) {
      CHECK(render_json(*sheet, catalog()) == render_json(fresh, catalog()));
      CHECK(render_html(*sheet, catalog()) == render_html(fresh, catalog()));
      CHECK(render_text(*sheet, catalog()) == render_text(fresh, catalog()));
      CHECK(render_note(*sheet, catalog()) == render_note(fresh, catalog()));
    }
  }

  TEST_CASE("rules, waivers, the day, the role and the room are judged anew without measuring") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", short_clip(), {});
    MemoryStore store;
    Run run{store};
    CHECK(run({path}, {rules(kPeak)}).verdict == Verdict::fail);
    CHECK(run.measured == 1);
    CHECK(run({path}, {rules(rule("measure = \"sample_peak\"\nfail_above = 0"))}).verdict == Verdict::pass);
    const auto waived = rules(kPeak + "[[waiver]]\nrule = \"r\"\nreason = \"x\"\nuntil = 2026-01-31\n");
    CheckOptions options;
    options.today = "2026-01-31";
    CHECK(run({path}, {waived}, options).files[0].findings[0].status == Status::waived);
    CHECK(run.taken == 1);
    options.today = "2026-02-01";
    CHECK(run({path}, {waived}, options).verdict == Verdict::fail);
    CHECK(run.taken == 1);
    options.role = "stem";
    CHECK(run({path}, {rules(rule("measure = \"sample_peak\"\nfail_above = -100\nrole = \"mix\""))}, options).files[0].skipped.size() == 1);
    CHECK(run.taken == 1);
    const auto before = run({path}, {}, options).files[0].cautions;
    options.monitoring = Monitoring();
    CHECK(run({path}, {}, options).files[0].cautions.size() != 0);
    CHECK(run({path}, {}, options).files[0].cautions.front().text != before.front().text);
    CHECK(run.taken == 1);
    CHECK(run.measured == 0);
    CHECK(store.held.size() == 1);
  }

  TEST_CASE("a parameter, a series, a picture or a second meter that was not asked for before is measured") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", short_clip(), {});
    MemoryStore store;
    Run run{store};
    run({path}, {rules(kPeak)});
    const auto low = [](int hz) { return rules(rule("measure = \"side_level_low\"\nfail_above = 0\nbelow_hz = " + std::to_string(hz))); };
    run({path}, {low(150)});
    CHECK(run.measured == 1);
    run({path}, {low(150), rules(kPeak)});
    CHECK(run.taken == 1);
    run({path}, {low(160)});
    CHECK(run.measured == 1);
    run({path}, {low(120)});  // the fallback, which is always there
    CHECK(run.taken == 1);
    for (auto CheckOptions::*wish : {&CheckOptions::timelines, &CheckOptions::pictures, &CheckOptions::second_meter}) {
      CheckOptions options;
      options.*wish = true;
      run({path}, {rules(kPeak)}, options);
      CHECK(run.measured == 1);
      run({path}, {rules(kPeak)}, options);
      CHECK(run.taken == 1);
    }
  }

  TEST_CASE("other bytes, another name, a sister beside it: measured; the same bytes with other times: not") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "mix.L", short_clip(1), {});
    MemoryStore store;
    Run run{store};
    const auto half = [](const Sheet& sheet) {
      for (const auto& m : sheet.files[0].measurements) {
        if (m.key == "half_of_stereo") return std::get<bool>(std::get<Value>(m.outcome));
      }
      return false;
    };
    CHECK(!half(run({path}, {rules(kPeak)})));
    CHECK(run.measured == 1);
    fs::last_write_time(path, fs::file_time_type::clock::now() - std::chrono::hours(1));
    run({path}, {rules(kPeak)});
    CHECK(run.taken == 1);
    const auto sister = folder.path + "/mix.R.wav";
    fs::copy_file(path, sister);
    CHECK(half(run({path}, {rules(kPeak)})));
    CHECK(run.measured == 1);
    fs::remove(sister);
    CHECK(!half(run({path}, {rules(kPeak)})));
    CHECK(run.taken == 1);
    const auto renamed = folder.path + "/final final (1).wav";
    fs::rename(path, renamed);
    run({renamed}, {rules(kPeak)});
    CHECK(run.measured == 1);
    {
      std::fstream file(renamed, std::ios::in | std::ios::out | std::ios::binary);
      file.seekp(-1, std::ios::end);
      file.put('\x55');
    }
    run({renamed}, {rules(kPeak)});
    CHECK(run.measured == 1);
  }

  TEST_CASE("readings of a file that is written to, replaced or renamed meanwhile are not kept") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", test::music(), {});
    const auto copy = folder.path + "/copy.wav";
    fs::copy_file(path, copy);
    CHECK(kept_while(path, [] {}) == 1);
    CHECK(kept_while(path, [&] { fs::rename(copy, path); }) == 0);
    CHECK(kept_while(path, [&] {
            // The same size and, set back by hand, the same time of writing.
            const auto time = fs::last_write_time(path);
            std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
            file.seekp(-1, std::ios::end);
            file.put('\x55');
            file.close();
            fs::last_write_time(path, time);
          }) == 0);
    CHECK(kept_while(path, [&] { std::ofstream(path, std::ios::app) << "x"; }) == 0);
    CHECK(kept_while(path, [&] { fs::remove(path); }) == 0);
  }

  TEST_CASE("an interrupted run keeps nothing") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", test::music(), {});
    MemoryStore store;
    std::atomic<bool> stop{false};
    CheckHooks hooks;
    hooks.store = &store;
    hooks.stop = &stop;
    hooks.progress = [&](const Progress&) { stop = true; };
    const auto sheet = check_files({path}, {rules(kPeak)}, {}, hooks);
    CHECK(sheet.files[0].error->code == ErrorCode::interrupted);
    CHECK(store.held.empty());
  }

  TEST_CASE("what was asked for and could not be made is tried again each time") {
    const Folder folder;
    const auto path = test::write_sample(folder.path, "a", short_clip(), {});
    const auto lossy = rules(rule("measure = \"true_peak_after_lossy\"\nfail_above = 100\ncodecs = [\"aac 128\"]"));
    const std::string before = std::getenv("PATH");
    MemoryStore store;
    Run run{store};
    REQUIRE(::setenv("PATH", folder.path.c_str(), 1) == 0);
    CHECK(run({path}, {lossy}).verdict == Verdict::fail);
    CHECK(run.measured == 0);
    REQUIRE(::setenv("PATH", before.c_str(), 1) == 0);
    CHECK(run({path}, {lossy}).verdict == Verdict::pass);
    CHECK(run.measured == 1);
    run({path}, {lossy});
    CHECK(run.taken == 1);
    // Another program of that name is another encoder.
    const auto other = folder.path + "/ffmpeg";
    std::ofstream(other) << "#!/bin/sh\nexec /usr/bin/ffmpeg \"$@\"\n";
    fs::permissions(other, fs::perms::owner_all);
    REQUIRE(::setenv("PATH", (folder.path + ":" + before).c_str(), 1) == 0);
    run({path}, {lossy});
    CHECK(run.taken == 0);
    CHECK(run.measured == 1);
    REQUIRE(::setenv("PATH", before.c_str(), 1) == 0);
  }

  TEST_CASE("a file without a sheet is read anew each time") {
    const Folder folder;
    const auto path = folder.path + "/a.wav";
    std::ofstream(path) << "RIFF but no audio";
    MemoryStore store;
    Run run{store};
    CHECK(run({path, folder.path, "/dev/zero"}, {rules(kPeak)}).verdict == Verdict::fail);
    CHECK(store.held.empty());
  }

  TEST_CASE("a reading that failed is said by the bytes it came from") {
    // A regular file by its kind, of which the first bytes cannot be read.
    auto file = base::InputFile::open("/proc/self/mem");
    REQUIRE(file.has_value());
    audio::FileBytes bytes(std::move(*file));
    const auto failed = bytes.failed();
    CHECK(!*failed);
    char byte = 0;
    CHECK(bytes.read_at(0, &byte, 1) == 0);
    CHECK(*failed);
  }
}
