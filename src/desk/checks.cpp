#include "desk/checks.h"

#include <sendworthy/catalog.h>
#include <sendworthy/render.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <map>
#include <system_error>
#include <utility>

#include "base/files.h"
#include "base/text.h"
#include "check/copies.h"
#include "desk/shown_paths.h"

namespace sendworthy::desk {
namespace {

namespace fs = std::filesystem;

enum class State { waiting, running, done, stopped, failed };

std::string_view word_of(State state) {
  static constexpr std::array<std::string_view, 5> kWords{"waiting", "running", "done", "stopped", "failed"};
  return kWords[static_cast<std::size_t>(state)];
}

bool is_over(State state) { return state != State::waiting && state != State::running; }

constexpr std::size_t kMostRemembered = 1000;  // ids of removed checks

}  // namespace

const SheetForm* sheet_form(std::string_view ending) {
  static constexpr std::array<SheetForm, 6> kForms{{{"html", "text/html; charset=utf-8"},
                                                    {"json", "application/json"},
                                                    {"jsonl", "application/x-ndjson"},
                                                    {"txt", "text/plain; charset=utf-8"},
                                                    {"csv", "text/csv; charset=utf-8"},
                                                    {"xml", "application/xml"}}};
  const auto found = std::find_if(kForms.begin(), kForms.end(), [&](const SheetForm& form) { return form.ending == ending; });
  return found == kForms.end() ? nullptr : &*found;
}

struct Checks::One {
  struct File {
    FileToCheck wanted;
    bool ended = false;
    double fraction = 0;
    std::optional<Verdict> verdict;
    std::string error;
    std::size_t part = 0;  ///< which of the sheet's files it is, from 1; 0 where that cannot be told
  };
  std::string id, folder;
  std::vector<File> files;
  std::vector<RuleSet> rule_sets;
  std::atomic<bool> stop{false};
  // What follows is guarded by the mutex of Checks.
  State state = State::waiting;
  bool removed = false;
  std::size_t done = 0;
  std::string current, error;
  std::optional<Verdict> verdict;
  std::uint64_t revision = 0;
};

Checks::Checks(const base::ScratchFolder& scratch, Uploads& uploads, CheckSettings settings)
    : scratch_(scratch), uploads_(uploads), settings_(std::move(settings)), worker_([this] { work(); }) {}

Checks::~Checks() { end(); }

void Checks::end() {
  {
    const std::lock_guard lock(mutex_);
    ending_ = true;
    for (const auto& one : all_) one->stop = true;
  }
  changed_.notify_all();
  if (worker_.joinable()) worker_.join();
}

std::shared_ptr<Checks::One> Checks::find(std::string_view id) const {
  const auto found = std::find_if(all_.begin(), all_.end(), [&](const auto& one) { return one->id == id; });
  return found == all_.end() ? nullptr : *found;
}

void Checks::touch(One& one) {
  one.revision = ++revision_;
  changed_.notify_all();
}

/// Its uploads go as soon as nothing reads them any more.
void Checks::let_go(std::list<std::shared_ptr<One>>::iterator found) {
  const auto one = *found;
  one->removed = one->stop = true;
  removed_.emplace_back(++revision_, one->id);
  if (removed_.size() > kMostRemembered) removed_.pop_front();
  all_.erase(found);
  if (one->state != State::running) {
    std::error_code ignored;
    fs::remove_all(one->folder, ignored);
  }
  for (const auto& file : one->files) {
    if (!file.wanted.upload.empty()) uploads_.give_back(file.wanted.upload);
  }
  changed_.notify_all();
}

tl::expected<std::string, UploadRefusal> Checks::add(std::vector<FileToCheck> files, std::vector<RuleSet> rule_sets) {
  const auto one = std::make_shared<One>();
  one->rule_sets = std::move(rule_sets);
  for (auto& file : files) one->files.push_back({std::move(file), false, 0, {}, {}});
  const std::lock_guard lock(mutex_);
  if (all_.size() >= kMost) {
    const auto oldest = std::find_if(all_.begin(), all_.end(), [](const auto& each) { return is_over(each->state); });
    if (oldest == all_.end())
      return tl::unexpected(UploadRefusal{409, "too_many", std::to_string(kMost) + " checks wait already; stop some, or wait for them"});
    let_go(oldest);
  }
  one->id = "c" + std::to_string(++last_);
  one->folder = scratch_.path() + "/" + one->id;
  std::error_code error;
  if (!fs::create_directory(one->folder, error))
    return tl::unexpected(UploadRefusal{507, "not_written", "no folder could be made for the check: " + error.message()});
  // Laid into a folder below, where no written sheet stands beside them: what is beside a file is looked at.
  const auto laid = one->folder + "/f";
  fs::create_directory(laid, error);
  for (auto& file : one->files) {
    if (file.wanted.upload.empty()) continue;
    auto lent = uploads_.lend(file.wanted.upload, laid);
    if (!lent) {
      for (auto* earlier = one->files.data(); earlier != &file; ++earlier) {
        if (!earlier->wanted.upload.empty()) uploads_.take_back(earlier->wanted.upload);
      }
      fs::remove_all(one->folder, error);
      return tl::unexpected(lent.error());
    }
    file.wanted.path = std::move(lent->path);
    file.wanted.name = std::move(lent->name);
  }
  all_.push_back(one);
  touch(*one);
  return one->id;
}

Json Checks::tell(const One& one) {
  Json json;
  json["check"] = one.id;
  json["state"] = word_of(one.state);
  json["files"] = Json::array();
  double parts = 0;
  for (const auto& file : one.files) {
    Json entry;
    entry["name"] = base::clean_utf8(file.wanted.name);
    if (file.verdict) entry["verdict"] = to_string(*file.verdict);
    if (!file.error.empty()) entry["error"] = base::for_terminal(file.error);
    if (file.part > 0) entry["part"] = file.part;
    json["files"].push_back(std::move(entry));
    parts += file.ended ? 1 : file.fraction;
  }
  json["done"] = one.done;
  json["total"] = one.files.size();
  json["current"] = base::clean_utf8(one.current);
  const double share = one.files.empty() ? 0 : parts / static_cast<double>(one.files.size());
  json["fraction"] = one.state == State::done ? 1 : std::floor(share * 1000) / 1000;
  Json rules = Json::array();
  for (const auto& set : one.rule_sets) rules.push_back(base::clean_utf8(set.name));
  json["rules"] = std::move(rules);
  if (one.verdict) json["verdict"] = to_string(*one.verdict);
  if (!one.error.empty()) json["error"] = base::for_terminal(one.error);
  return json;
}

std::optional<Json> Checks::tell(std::string_view id) const {
  const std::lock_guard lock(mutex_);
  const auto one = find(id);
  if (!one) return std::nullopt;
  return tell(*one);
}

Json Checks::tell_all() const {
  const std::lock_guard lock(mutex_);
  Json all = Json::array();
  for (const auto& one : all_) all.push_back(tell(*one));
  return all;
}

bool Checks::stop(std::string_view id) {
  const std::lock_guard lock(mutex_);
  const auto one = find(id);
  if (!one) return false;
  if (is_over(one->state)) return true;
  one->stop = true;
  if (one->state == State::waiting) one->state = State::stopped;
  touch(*one);
  return true;
}

bool Checks::remove(std::string_view id) {
  const std::lock_guard lock(mutex_);
  const auto found = std::find_if(all_.begin(), all_.end(), [&](const auto& one) { return one->id == id; });
  if (found == all_.end()) return false;
  let_go(found);
  return true;
}

std::optional<std::string> Checks::sheet_path(std::string_view id, std::string_view ending) const {
  const std::lock_guard lock(mutex_);
  const auto one = find(id);
  if (!one || one->state != State::done || sheet_form(ending) == nullptr) return std::nullopt;
  return one->folder + "/sheet." + std::string(ending);
}

std::optional<std::string> Checks::path_of_part(std::string_view id, std::size_t part) const {
  const std::lock_guard lock(mutex_);
  const auto one = find(id);
  if (!one || part == 0) return std::nullopt;
  const auto found = std::find_if(one->files.begin(), one->files.end(), [&](const One::File& file) { return file.part == part; });
  return found == one->files.end() ? std::nullopt : std::optional(found->wanted.path);
}

Checks::Changes Checks::changes(std::uint64_t since, double wait_s) const {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, std::chrono::duration<double>(wait_s), [&] { return ending_ || revision_ > since; });
  Changes changes;
  changes.until = revision_;
  for (const auto& one : all_) {
    if (one->revision > since) changes.checks.push_back(tell(*one));
  }
  for (const auto& [revision, id] : removed_) {
    if (since > 0 && revision > since) changes.removed.push_back(id);
  }
  return changes;
}

void Checks::work() {
  for (;;) {
    std::shared_ptr<One> next;
    {
      std::unique_lock lock(mutex_);
      const auto waiting = [&] { return std::find_if(all_.begin(), all_.end(), [](const auto& one) { return one->state == State::waiting; }); };
      changed_.wait(lock, [&] { return ending_ || waiting() != all_.end(); });
      if (ending_) return;
      next = *waiting();
      next->state = State::running;
      touch(*next);
    }
    try {
      run(*next);
    } catch (const std::exception& problem) {
      const std::lock_guard lock(mutex_);
      next->state = State::failed;
      next->error = std::string("the check failed: ") + problem.what() + "; try it with fewer files";
      touch(*next);
    }
    const std::lock_guard lock(mutex_);
    if (next->removed) {
      std::error_code ignored;
      fs::remove_all(next->folder, ignored);
    }
  }
}

void Checks::run(One& one) {
  std::vector<std::string> paths;
  std::map<std::string, std::size_t> places;
  for (std::size_t i = 0; i < one.files.size(); ++i) {
    paths.push_back(one.files[i].wanted.path);
    places[paths.back()] = i;
  }
  CheckOptions options;
  options.jobs = settings_.jobs;
  options.today = settings_.today();
  options.monitoring = settings_.monitoring;
  options.pictures = true;
  CheckHooks hooks;
  hooks.stop = &one.stop;
  hooks.store = settings_.store;
  hooks.progress = [&](const Progress& progress) {
    const std::lock_guard lock(mutex_);
    one.files[progress.file].fraction = progress.fraction;
    one.current = one.files[progress.file].wanted.name;
    touch(one);
  };
  hooks.file_done = [&](const FileSheet& file) {
    const std::lock_guard lock(mutex_);
    auto& place = one.files[places[file.path]];
    place.ended = true;
    ++one.done;
    if (!file.error || file.error->code != ErrorCode::interrupted) place.verdict = file.verdict;
    if (file.error) place.error = with_shown_paths(file.error->text, one.folder);
    touch(one);
  };
  auto sheet = check_copies(paths, one.folder + "/f/", one.rule_sets, options, hooks);
  if (!one.stop) {
    show_paths(sheet, one.folder);
    {
      // A sheet lists its files by their paths, the page as they were asked for.
      std::map<std::string, std::size_t> parts;
      for (const auto& file : sheet.files) parts.emplace(file.path, parts.size() + 1);
      const std::lock_guard lock(mutex_);
      for (auto& file : one.files) {
        const auto found = parts.find(with_shown_paths(file.wanted.path, one.folder));
        if (parts.size() == sheet.files.size() && found != parts.end()) file.part = found->second;
      }
    }
    write_sheet(one, std::move(sheet));
    return;
  }
  const std::lock_guard lock(mutex_);
  one.state = State::stopped;
  one.current.clear();
  touch(one);
}

void Checks::write_sheet(One& one, Sheet sheet) {
  const auto verdict = sheet.verdict;
  const auto& names = catalog();
  Result<void> written;
  const auto write = [&](std::string_view ending, const std::string& text) {
    if (written) written = base::write_private(one.folder + "/sheet." + std::string(ending), text);
  };
  write("html", render_html(sheet, names));
  // Pictures belong to the page; the other forms are what `check` writes in them.
  for (auto& file : sheet.files) {
    file.timelines.clear();
    file.pictures.reset();
  }
  write("json", render_json(sheet, names));
  write("jsonl", render_jsonl(sheet, names));
  write("txt", render_text(sheet, names));
  write("csv", render_csv(sheet, names));
  write("xml", render_junit(sheet, names));
  const std::lock_guard lock(mutex_);
  one.current.clear();
  if (written) {
    one.state = State::done;
    one.verdict = verdict;
  } else {
    one.state = State::failed;
    one.error = "the sheet could not be kept: " + written.error().text;
  }
  touch(one);
}

}  // namespace sendworthy::desk
