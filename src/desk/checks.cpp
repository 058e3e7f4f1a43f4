#include "desk/checks.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <map>
#include <system_error>
#include <utility>

#include "base/os.h"
#include "base/text.h"
#include "desk/listening_pass.h"
#include "desk/sheet_forms.h"
#include "desk/shown_paths.h"
#include "desk/sound.h"
#include "sheet/judged_alone.h"
#include "sheet/phrases.h"

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
constexpr double kReading = 0.5;               // of a check that has more to do: own guess

tl::unexpected<UploadRefusal> refuse(int status, std::string code, std::string text) {
  return tl::unexpected(UploadRefusal{status, std::move(code), std::move(text)});
}

/// How far the work is once every file was read. What comes then may go on counting behind the files, or begin anew.
double later_share(const Progress& progress, std::size_t files) {
  const bool behind = progress.file >= files && progress.files > files;
  const double share = behind ? (static_cast<double>(progress.file - files) + progress.fraction) / static_cast<double>(progress.files - files) : progress.fraction;
  return std::clamp(share, 0.0, 1.0);
}

}  // namespace

struct Checks::One {
  struct File {
    FileToCheck wanted;
    bool ended = false;
    double fraction = 0;
    std::optional<Verdict> verdict;
    std::string error;
    std::string role;      ///< of a plan or an order
    std::optional<base::FileState> state;  ///< before it was read
    std::size_t part = 0;  ///< which of the sheet's files it is, from 1; 0 where that cannot be told
  };
  std::string id, folder;
  std::unique_ptr<Task> task;
  std::vector<std::string> rules;
  std::atomic<bool> stop{false};
  // What follows is guarded by the mutex of Checks.
  std::vector<File> files;
  std::vector<Part> parts;  ///< of the sheet's files
  State state = State::waiting;
  bool removed = false;
  std::size_t done = 0;
  double later = 0;  ///< how far what comes after the reading is
  std::string current, error;
  std::int64_t asked_ns = 0;  ///< since 1970
  bool writing = false;       ///< all is measured and judged
  std::optional<Verdict> verdict;
  Json told = Json::object();
  std::optional<Json> pair;
  std::shared_ptr<ListeningPass> listening;
  std::string no_listening;
  std::uint64_t revision = 0;

  void take_parts() {
    for (auto& file : files) {
      const auto found = std::ranges::find(parts, file.wanted.path, &Part::path);
      file.part = found == parts.end() ? 0 : static_cast<std::size_t>(found - parts.begin()) + 1;
    }
  }
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

tl::expected<std::string, UploadRefusal> Checks::add(std::unique_ptr<Task> task) {
  const auto one = std::make_shared<One>();
  one->task = std::move(task);
  for (const auto& set : one->task->rule_sets()) one->rules.push_back(base::clean_utf8(set.name));
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
  auto& files = one->task->files();
  for (auto& file : files) {
    if (file.upload.empty()) continue;
    auto lent = uploads_.lend(file.upload, one->task->folder_for(file, laid));
    if (!lent) {
      for (auto* earlier = files.data(); earlier != &file; ++earlier) {
        if (!earlier->upload.empty()) uploads_.take_back(earlier->upload);
      }
      fs::remove_all(one->folder, error);
      return tl::unexpected(lent.error());
    }
    file.path = std::move(lent->path);
    file.name = std::move(lent->name);
  }
  for (const auto& file : files) one->files.push_back({file, false, 0, {}, {}, {}, {}});
  one->asked_ns = std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::system_clock::now().time_since_epoch()).count();
  all_.push_back(one);
  touch(*one);
  return one->id;
}

Json Checks::tell(const One& one) {
  Json json;
  json["check"] = one.id;
  json["state"] = word_of(one.state);
  json["kind"] = one.task->kind();
  json["files"] = Json::array();
  double parts = 0;
  for (const auto& file : one.files) {
    Json entry;
    entry["name"] = base::clean_utf8(file.wanted.name);
    if (file.verdict) entry["verdict"] = to_string(*file.verdict);
    if (!file.error.empty()) entry["error"] = base::for_terminal(file.error);
    if (file.part > 0) entry["part"] = file.part;
    if (!file.role.empty()) entry["role"] = base::clean_utf8(file.role);
    if (!file.wanted.relative.empty()) put_path(entry, file.wanted.relative);
    if (!file.wanted.upload.empty()) entry["upload"] = file.wanted.upload;
    if (file.state) entry["bytes"] = file.state->bytes, entry["modified"] = utc_time(file.state->written_ns);
    json["files"].push_back(std::move(entry));
    parts += file.ended ? 1 : file.fraction;
  }
  json["done"] = one.done;
  json["total"] = one.files.size();
  json["current"] = base::clean_utf8(one.current);
  double share = one.files.empty() ? 0 : parts / static_cast<double>(one.files.size());
  if (one.task->has_more_to_do()) share = kReading * share + (1 - kReading) * one.later;
  json["fraction"] = one.state == State::done ? 1 : std::floor(share * 1000) / 1000;
  if (one.writing) json["stage"] = "writing";
  json["asked_at"] = utc_time(one.asked_ns);
  json["rules"] = one.rules;
  if (const auto& against = one.task->against(); !against.empty())
    one.task->kind() == "order" ? put_path(json, against, "order", "order_id") : put_path(json, against, "plan", "plan_id");
  if (one.verdict) json["verdict"] = to_string(*one.verdict);
  json.update(one.told);
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

tl::expected<std::shared_ptr<Checks::One>, UploadRefusal> Checks::done(std::string_view id) const {
  auto one = find(id);
  if (!one) return refuse(404, "no_check", "there is no such check any more; load the page again");
  if (one->state != State::done) return refuse(409, "no_sheet", "the check has no sheet (yet); wait for its end");
  return one;
}

tl::expected<std::string, UploadRefusal> Checks::sheet_path(std::string_view id, std::string_view ending) const {
  const std::lock_guard lock(mutex_);
  const auto one = done(id);
  if (!one) return tl::unexpected(one.error());
  const auto forms = (*one)->task->forms();
  if (std::ranges::find(forms, ending) == forms.end()) {
    std::string known;
    for (const auto form : forms) known += (known.empty() ? "" : ", ") + std::string(form);
    return refuse(409, "no_form", known.empty() ? "this makes a file of its own, and no sheet" : "the sheet cannot be had in this form; take one of " + known);
  }
  return (*one)->folder + "/sheet." + std::string(ending);
}

std::optional<Checks::Part> Checks::part_of(std::string_view id, std::size_t part) const {
  const std::lock_guard lock(mutex_);
  const auto one = find(id);
  if (!one || part == 0 || part > one->parts.size()) return std::nullopt;
  return one->parts[part - 1];
}

tl::expected<Json, UploadRefusal> Checks::pair(std::string_view id) const {
  const std::lock_guard lock(mutex_);
  const auto one = done(id);
  if (!one) return tl::unexpected(one.error());
  if (!(*one)->pair) return refuse(409, "no_pair", "this check came to no pair: it is not of two bounces, or one of them gave no sheet");
  return *(*one)->pair;
}

tl::expected<std::shared_ptr<ListeningPass>, UploadRefusal> Checks::pass_of(std::string_view id) const {
  const std::lock_guard lock(mutex_);
  const auto one = done(id);
  if (!one) return tl::unexpected(one.error());
  if ((*one)->listening) return (*one)->listening;
  return refuse(409, "no_listening", (*one)->no_listening.empty() ? "this check is not of a plan, and asks nothing" : (*one)->no_listening);
}

tl::expected<Json, UploadRefusal> Checks::listening(std::string_view id) const {
  const auto pass = pass_of(id);
  if (!pass) return tl::unexpected(pass.error());
  return (*pass)->tell();
}

tl::expected<Json, UploadRefusal> Checks::answer(std::string_view id, const AnswerWish& wish) const {
  const auto pass = pass_of(id);
  if (!pass) return tl::unexpected(pass.error());
  return (*pass)->answer(wish, settings_.today());
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
  std::map<std::string, std::size_t> places;
  std::map<std::string, std::string> marks;
  std::map<std::string, base::FileState> states;
  for (std::size_t i = 0; i < one.files.size(); ++i) {
    const auto& path = one.files[i].wanted.path;
    places[path] = i;
    if (const auto state = base::state_of(path)) states.emplace(path, *state);
    // So that nobody hears another bounce for the one that was checked.
    if (auto mark = Sound::mark_of(path, scratch_.path())) marks.emplace(path, std::move(*mark));
  }
  {
    const std::lock_guard lock(mutex_);
    for (auto& file : one.files) {
      if (const auto state = states.find(file.wanted.path); state != states.end()) file.state = state->second;
    }
  }
  TaskRoom room;
  room.folder = one.folder;
  room.options.jobs = settings_.jobs;
  room.options.today = settings_.today();
  room.options.monitoring = settings_.monitoring;
  CheckHooks hooks;
  hooks.stop = &one.stop;
  hooks.store = settings_.store;
  hooks.progress = [&](const Progress& progress) {
    const std::lock_guard lock(mutex_);
    const auto place = places.find(progress.path);
    if (place != places.end() && !one.files[place->second].ended) one.files[place->second].fraction = progress.fraction;
    // It may not go back, whatever is begun anew.
    if (one.done >= one.files.size()) one.later = std::max(one.later, later_share(progress, one.files.size()));
    one.current = place != places.end() ? one.files[place->second].wanted.name : one.task->name_of(progress.path);
    touch(one);
  };
  hooks.file_done = [&](const FileSheet& file) {
    const std::lock_guard lock(mutex_);
    // A file may be held against itself.
    for (auto& place : one.files) {
      if (place.ended || place.wanted.path != file.path) continue;
      place.ended = true;
      ++one.done;
      if (sheet::judged_alone(file) && (!file.error || file.error->code != ErrorCode::interrupted)) place.verdict = file.verdict;
      if (file.error) place.error = with_shown_paths(file.error->text, one.folder);
    }
    touch(one);
  };
  auto end = one.task->run(room, hooks);
  if (end && (!one.stop || end->made)) {
    finish(one, std::move(*end), marks, states);
    return;
  }
  const std::lock_guard lock(mutex_);
  one.state = one.stop ? State::stopped : State::failed;
  if (!one.stop) one.error = with_shown_paths(to_string(end.error()), one.folder);
  one.current.clear();
  touch(one);
}

void Checks::finish(One& one, TaskEnd end, const std::map<std::string, std::string>& marks, const std::map<std::string, base::FileState>& states) {
  const auto file_of = [&](const FileSheet& file) {
    One::File entry{{file.path, one.task->name_of(file.path), {}}, true, 1, {}, {}, {}, {}};
    if (const auto state = states.find(file.path); state != states.end()) entry.state = state->second;
    if (!end.sheet->song || sheet::judged_alone(file)) entry.verdict = file.verdict;
    if (file.error) entry.error = file.error->text;
    entry.role = file.role;
    return entry;
  };
  std::vector<One::File> files;
  if (end.sheet && !one.task->lists_its_files()) {
    for (const auto& file : end.sheet->files) files.push_back(file_of(file));
  }
  {
    const std::lock_guard lock(mutex_);
    one.writing = true;
    one.current.clear();
    touch(one);
  }
  Result<void> written;
  if (end.sheet && end.sheet->judged) {
    // A set can fail while each of its files passes.
    if (const auto together = sheet::speaking_against(end.sheet->findings); together > 0) end.told["together"] = together;
  }
  if (end.sheet) written = write_sheet(std::move(*end.sheet), one.task->forms(), one.folder);
  const std::lock_guard lock(mutex_);
  one.writing = false;
  if (written) {
    if (end.sheet && !one.task->lists_its_files()) one.files = std::move(files);
    for (auto& path : end.paths) {
      const auto known = marks.find(path);
      one.parts.push_back({std::move(path), known == marks.end() ? std::string() : known->second});
    }
    one.take_parts();
    one.done = one.files.size();
    one.verdict = end.verdict;
    one.told = std::move(end.told);
    one.pair = std::move(end.pair);
    one.listening = std::move(end.listening);
    one.no_listening = std::move(end.no_listening);
    one.state = State::done;
  } else {
    one.state = State::failed;
    one.error = "the sheet could not be kept: " + written.error().text;
  }
  touch(one);
}

}  // namespace sendworthy::desk
