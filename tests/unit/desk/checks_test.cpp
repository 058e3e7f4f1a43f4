#include "desk/checks.h"

#include <doctest/doctest.h>
#include <sendworthy/catalog.h>

#include <chrono>
#include <cmath>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <thread>

#include "base/files.h"
#include "base/scratch_folder.h"
#include "desk/events.h"
#include "desk/folder.h"
#include "desk/sheet_parts.h"

using namespace sendworthy;
using namespace sendworthy::desk;
namespace fs = std::filesystem;

namespace {

void put_number(std::string& text, std::uint32_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) text += static_cast<char>(value >> (8 * i));
}

/// A mono WAV of 16 bits, 8 kHz, with a quiet tone.
std::string wav(int frames) {
  std::string data;
  for (int n = 0; n < frames; ++n) put_number(data, static_cast<std::uint32_t>(static_cast<std::int32_t>(3000 * std::sin(0.3 * n))) & 0xFFFFu, 2);
  std::string text = "RIFF";
  put_number(text, static_cast<std::uint32_t>(36 + data.size()), 4);
  text += "WAVEfmt ";
  for (const auto& [value, bytes] : {std::pair{16u, 4}, {1u, 2}, {1u, 2}, {8000u, 4}, {16000u, 4}, {2u, 2}, {16u, 2}}) put_number(text, value, bytes);
  text += "data";
  put_number(text, static_cast<std::uint32_t>(data.size()), 4);
  return text + data;
}

std::vector<RuleSet> rules() {
  auto set = parse_rule_set("[ruleset]\nname = \"peak\"\ntitle = \"Peak\"\npurpose = \"For a test.\"\nsources = [\"definition\"]\n\n[[rule]]\nid = \"peak\"\n"
                            "measure = \"sample_peak\"\nfail_above = -6.0\nwhy = \"A test.\"\nremedy = \"None.\"\nsource = \"definition\"\n",
                            "./peak.toml", {}, catalog());
  REQUIRE_MESSAGE(set.has_value(), to_string(set.error()));
  return {std::move(*set)};
}

struct Room {
  Room() : scratch(*base::ScratchFolder::make("test")), uploads(scratch, {}), checks(scratch, uploads, settings()) {
    REQUIRE(base::write_then_rename(scratch.path() + "/mix.wav", wav(8000)).has_value());
  }
  static CheckSettings settings() {
    CheckSettings settings;
    settings.today = [] { return std::string("2026-01-02"); };
    return settings;
  }
  std::string add(std::vector<FileToCheck> files) {
    const auto added = checks.add(check_of_files(std::move(files), rules()));
    REQUIRE(added.has_value());
    return *added;
  }
  std::string end_of(const std::string& id) {
    for (int i = 0; i < 6000; ++i) {
      const auto told = checks.tell(id);
      REQUIRE(told.has_value());
      const auto state = (*told)["state"].get<std::string>();
      if (state != "waiting" && state != "running") return state;
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    return "for ever";
  }
  [[nodiscard]] FileToCheck mix() const { return {scratch.path() + "/mix.wav", "mix.wav", {}}; }

  base::ScratchFolder scratch;
  Uploads uploads;
  Checks checks;
};

}  // namespace

TEST_SUITE_BEGIN("desk/checks");

TEST_CASE("a check runs through to its sheet, in every form, and goes with all it had") {
  Room room;
  const auto id = room.add({room.mix()});
  CHECK(room.end_of(id) == "done");
  const auto told = *room.checks.tell(id);
  CHECK(told["verdict"] == "pass");
  CHECK(told["files"][0]["verdict"] == "pass");
  CHECK(told["done"] == 1);
  CHECK(told["total"] == 1);
  CHECK(told["fraction"] == 1.0);
  for (const char* ending : {"html", "json", "jsonl", "txt", "csv", "xml"}) {
    const auto path = room.checks.sheet_path(id, ending);
    REQUIRE(path.has_value());
    CHECK(base::read_text(*path)->find("mix.wav") != std::string::npos);
  }
  CHECK(!room.checks.sheet_path(id, "exe"));
  CHECK(!room.checks.sheet_path(id, "../../x"));
  CHECK(room.checks.sheet_path(id, "exe").error().code == "no_form");
  CHECK(!room.checks.sheet_path("c99", "json"));
  CHECK(room.checks.stop(id));
  CHECK((*room.checks.tell(id))["state"] == "done");
  CHECK(room.checks.remove(id));
  CHECK(!room.checks.remove(id));
  CHECK(!room.checks.tell(id));
  CHECK(!fs::exists(room.scratch.path() + "/" + id));
}

TEST_CASE("a file that is not there has its error, and the others their verdicts") {
  Room room;
  const auto id = room.add({room.mix(), {room.scratch.path() + "/gone.wav", "gone.wav", {}}});
  CHECK(room.end_of(id) == "done");
  const auto told = *room.checks.tell(id);
  CHECK(told["verdict"] == "fail");
  CHECK(told["files"][0]["verdict"] == "pass");
  CHECK(told["files"][1]["verdict"] == "fail");
  CHECK(told["files"][1]["error"].get<std::string>().find("there is no such file") != std::string::npos);
  // Asked for in one order, in the sheet in another.
  CHECK(told["files"][0]["part"] == 2);
  CHECK(told["files"][1]["part"] == 1);
}

TEST_CASE("checks run one after another; one that waits can be stopped before it begins, one that runs while it does") {
  Room room;
  REQUIRE(base::write_then_rename(room.scratch.path() + "/long.wav", wav(8'000'000)).has_value());
  const auto first = room.add({{room.scratch.path() + "/long.wav", "long.wav", {}}}), second = room.add({room.mix()}), third = room.add({room.mix()});
  CHECK(room.checks.stop(second));
  CHECK((*room.checks.tell(second))["state"] == "stopped");
  CHECK(room.checks.stop(first));
  CHECK(room.end_of(first) == "stopped");
  CHECK(!room.checks.sheet_path(first, "json"));
  CHECK(!room.checks.tell(first)->contains("verdict"));
  CHECK(room.end_of(third) == "done");
  CHECK(room.checks.tell_all().size() == 3);
}

TEST_CASE("an upload is checked under its own name, and goes with its check") {
  Room room;
  const auto bytes = wav(8000);
  auto incoming = room.uploads.begin("My Mix.wav", static_cast<std::int64_t>(bytes.size()));
  REQUIRE((*incoming)->write(bytes).has_value());
  const auto upload = *(*incoming)->finish();
  const auto id = room.add({{{}, {}, upload}, room.mix()});
  CHECK(room.end_of(id) == "done");
  CHECK((*room.checks.tell(id))["files"][0]["name"] == "My Mix.wav");
  const auto json = Json::parse(*base::read_text(*room.checks.sheet_path(id, "json")));
  const auto part = (*room.checks.tell(id))["files"][0]["part"].get<std::size_t>();
  CHECK(*base::read_text(room.checks.part_of(id, part)->path) == bytes);
  CHECK(!room.checks.part_of(id, 0));
  CHECK(!room.checks.part_of(id, 3));
  CHECK(!room.checks.part_of("c99", 1));
  std::string path_length;
  for (const auto& file : json["files"]) {
    if (file["path"] == "My Mix.wav") path_length = file["measurements"]["path_length"]["value"].dump();
  }
  CHECK(path_length == "10");
  const auto text = *base::read_text(*room.checks.sheet_path(id, "html"));
  CHECK(text.find(room.scratch.path() + "/" + id) == text.npos);
  CHECK(room.checks.add(check_of_files({room.mix(), {{}, {}, "u99"}}, rules())).error().status == 404);
  CHECK(fs::exists(room.scratch.path() + "/" + upload));
  CHECK(room.checks.remove(id));
  CHECK(!fs::exists(room.scratch.path() + "/" + upload));
}

namespace {

/// Says what it is told to, as checks of every kind do.
class Told final : public Task {
 public:
  explicit Told(std::vector<Progress> steps) : steps_(std::move(steps)) {
    for (const char* name : {"a", "b"}) files_.push_back({name, name, {}});
  }
  [[nodiscard]] std::string_view kind() const override { return "told"; }
  [[nodiscard]] std::span<const std::string_view> forms() const override { return {}; }
  [[nodiscard]] bool lists_its_files() const override { return true; }
  [[nodiscard]] bool has_more_to_do() const override { return true; }
  Result<TaskEnd> run(const TaskRoom& /*room*/, const CheckHooks& hooks) override {
    for (const auto& step : steps_) {
      if (step.files > 0) {
        hooks.progress(step);
      } else {
        FileSheet file;
        file.path = step.path;
        hooks.file_done(file);
      }
      fractions.push_back((*checks->tell("c1"))["fraction"].get<double>());
    }
    return fail(ErrorCode::rules, "the plan is wrong", {"song.toml", 3, 1});
  }
  const Checks* checks = nullptr;
  std::vector<double> fractions;

 private:
  std::vector<Progress> steps_;
};

}  // namespace

TEST_CASE("what is done once the files were read moves the bar on, and never back") {
  Room room;
  // Both files, what is said of a file that ended, a third file, then work that counts behind the files, begins anew, or names others.
  auto task = std::make_unique<Told>(std::vector<Progress>{{0, 2, "a", 0.5}, {0, 0, "a", 0}, {0, 2, "a", 0.1}, {1, 2, "b", 0.5}, {0, 1, "elsewhere/x", 1}, {0, 0, "b", 0}, {2, 4, "b", 0.5}, {0, 2, "c", 0.1}, {3, 4, "a", 1}, {7, 3, "a", -4}});
  task->checks = &room.checks;
  const auto& told = *task;
  const auto added = room.checks.add(std::move(task));
  REQUIRE(added.has_value());
  CHECK(room.end_of(*added) == "failed");
  CHECK((*room.checks.tell(*added))["error"] == "song.toml:3:1: the plan is wrong");
  CHECK((*room.checks.tell(*added))["kind"] == "told");
  CHECK(told.fractions == std::vector<double>{0.125, 0.25, 0.25, 0.375, 0.375, 0.5, 0.625, 0.625, 1, 1});
  CHECK(room.checks.sheet_path(*added, "html").error().status == 409);
  CHECK(room.checks.pair(*added).error().status == 409);
  CHECK(room.checks.listening(*added).error().status == 409);
  CHECK(room.checks.pair("c99").error().status == 404);
}

TEST_CASE("a file of a sheet of several can be had as a page by itself") {
  Room room;
  REQUIRE(base::write_then_rename(room.scratch.path() + "/zz <section class=\"file\">.wav", wav(4000)).has_value());
  const auto id = room.add({room.mix(), {room.scratch.path() + "/zz <section class=\"file\">.wav", "zz", {}}});
  REQUIRE(room.end_of(id) == "done");
  const auto path = *room.checks.sheet_path(id, "html");
  const auto page = *base::read_text(path), places = *base::read_text(path.substr(0, path.rfind('.')) + ".parts");
  const auto first = page_of_part(path, places, 1), second = page_of_part(path, places, 2);
  REQUIRE(first.has_value());
  REQUIRE(second.has_value());
  const auto begin = page.find("<section class=\"file"), between = page.find("<section class=\"file", begin + 1), end = page.rfind("</main>");
  const auto head = page.substr(0, page.find("<main>\n") + 7), foot = page.substr(end);
  CHECK(*first == head + page.substr(begin, between - begin) + foot);
  CHECK(*second == head + page.substr(between, end - between) + foot);
  for (const std::size_t none : {0, 3, 4}) CHECK(!page_of_part(path, places, none).has_value());
  for (const char* wrong : {"", "1", "7 6 5 4", "-1 0 1 2", "0 1 2 99999999", "99999999999999999999 1 2 3", "a b c d"}) CHECK(!page_of_part(path, wrong, 1).has_value());
}

TEST_CASE("fifty are kept: the oldest that is over gives way, and none that still waits") {
  Room room;
  const auto first = room.add({room.mix()});
  CHECK(room.end_of(first) == "done");
  for (std::size_t i = 1; i < Checks::kMost; ++i) room.checks.stop(room.add({room.mix()}));
  CHECK(room.checks.tell(first).has_value());
  room.add({room.mix()});
  CHECK(!room.checks.tell(first));
  CHECK(room.checks.tell_all().size() == Checks::kMost);
}

TEST_CASE("events begin with what there is, then tell what changes and what goes") {
  Room room;
  const auto folder = *Folder::open(room.scratch.path());
  const auto id = room.add({room.mix()});
  CHECK(room.end_of(id) == "done");
  Events events(room.checks, folder, "");
  const auto first = events.next(0);
  CHECK(first.starts_with("event: check\ndata: {\"check\":\"" + id + "\",\"state\":\"done\""));
  CHECK(first.ends_with("}\n\n"));
  CHECK(events.next(0).empty());
  CHECK(room.checks.remove(id));
  CHECK(events.next(0).find("event: removed\ndata: {\"check\":\"" + id + "\"}\n\n") != std::string::npos);
  REQUIRE(base::write_then_rename(room.scratch.path() + "/new.wav", wav(8)).has_value());
  std::string told;
  for (int i = 0; i < 100 && told.empty(); ++i) {
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    told = events.next(0);
  }
  CHECK(told.find("event: folder\ndata: {\"path\":\"\"}\n\n") != std::string::npos);
}

TEST_SUITE_END();
