// Starts `reveille serve` and passes messages between it and the editor. Whatever is known about
// 68000 source and sessions is known by the server; nothing here looks at a document.

import * as vscode from 'vscode';
import { LanguageClient, type LanguageClientOptions, type ServerOptions, TransportKind } from 'vscode-languageclient/node';

const LANGUAGE = 'm68k';
const SESSION = 'reveille-session';

let output: vscode.LogOutputChannel;
let client: LanguageClient | undefined;
/** Starts and stops happen one after the other, in the order they were asked for. */
let queue: Promise<void> = Promise.resolve();

function command(): { program: string; args: string[] } {
    const settings = vscode.workspace.getConfiguration('reveille.server');
    const program = settings.get<string>('path', '').trim() || 'reveille';
    return { program, args: ['serve', ...settings.get<string[]>('arguments', [])] };
}

/** What the server takes as options: the machine and what is shown beside the lines. */
function options(): Record<string, unknown> {
    const settings = vscode.workspace.getConfiguration('reveille');
    return {
        // What is not set here the machine file may say.
        cpu: settings.get<string>('cpu') || undefined,
        clock: settings.get<number | null>('clock') ?? undefined,
        sizing: settings.get<Record<string, string>>('sizing', {}),
        defines: settings.get<Record<string, unknown>>('defines', {}),
        hints: {
            addresses: settings.get<boolean>('hints.addresses', false),
            cycles: settings.get<boolean>('hints.cycles', false),
        },
    };
}

/** The dialect that the server reads the file at hand in, in the status line's language item. */
let dialect: vscode.LanguageStatusItem | undefined;

async function showDialect(): Promise<void> {
    const document = vscode.window.activeTextEditor?.document;
    if (!client || !dialect || document?.languageId !== LANGUAGE) {
        return;
    }
    try {
        const textDocument = { uri: client.code2ProtocolConverter.asUri(document.uri) };
        const told = await client.sendRequest<{ title: string; reason: string } | null>('reveille/dialect', { textDocument });
        dialect.text = told?.title ?? 'not read';
        dialect.detail = told?.reason;
    } catch (error) {
        output.warn(`The dialect is not known: ${String(error)}`);
    }
}

async function start(): Promise<void> {
    const { program, args } = command();
    const server: ServerOptions = { command: program, args, transport: TransportKind.stdio };
    const clientOptions: LanguageClientOptions = {
        documentSelector: [
            ...[LANGUAGE, SESSION].flatMap((language) => ['file', 'untitled'].map((scheme) => ({ scheme, language }))),
            // C beside the assembly, whatever other server reads it too.
            { scheme: 'file', language: 'c' },
            // The machine file: findings, completion, hover and outline come from the server.
            { scheme: 'file', pattern: '**/reveille.toml' },
        ],
        outputChannel: output,
        initializationOptions: options(),
    };
    const starting = new LanguageClient('reveille', 'Reveille', server, clientOptions);
    try {
        await starting.start();
        client = starting;
        await showDialect();
    } catch (error) {
        output.error(`${program} ${args.join(' ')}: ${String(error)}`);
        starting.dispose().catch(() => undefined);
        void explain(program);
    }
}

async function stop(): Promise<void> {
    const stopping = client;
    client = undefined;
    try {
        await stopping?.dispose();
    } catch (error) {
        output.error(`The server did not stop in order: ${String(error)}`);
    }
}

async function explain(program: string): Promise<void> {
    const settings = 'Open Settings';
    const log = 'Show Output';
    const choice = await vscode.window.showErrorMessage(
        `Reveille: “${program}” does not start. Install it, or name it in reveille.server.path.`,
        settings,
        log,
    );
    if (choice === settings) {
        await vscode.commands.executeCommand('workbench.action.openSettings', 'reveille.server');
    } else if (choice === log) {
        output.show(true);
    }
}

/** Runs `reveille play` on a session, the one at hand if none is named; what it says stays in the terminal. */
async function rehearse(address?: string): Promise<void> {
    const uri = address === undefined ? vscode.window.activeTextEditor?.document.uri : vscode.Uri.parse(address, true);
    if (uri?.scheme !== 'file') {
        void vscode.window.showErrorMessage('Reveille: no session in a file is open that could be rehearsed.');
        return;
    }
    // What is rehearsed is what is in the file.
    const document = await vscode.workspace.openTextDocument(uri);
    if (document.isDirty && !(await document.save())) {
        return;
    }
    const folder = vscode.workspace.getWorkspaceFolder(uri);
    const execution = new vscode.ProcessExecution(command().program, ['play', uri.fsPath], { cwd: folder?.uri.fsPath });
    const name = `rehearse ${vscode.workspace.asRelativePath(uri)}`;
    const task = new vscode.Task({ type: 'reveille' }, folder ?? vscode.TaskScope.Workspace, name, 'reveille', execution, []);
    await vscode.tasks.executeTask(task);
}

/** Opens the bring-up sheet of the program that a file belongs to, the one at hand if none is named, beside the editor. */
async function sheet(address?: string): Promise<void> {
    const uri = address === undefined ? vscode.window.activeTextEditor?.document.uri : vscode.Uri.parse(address, true);
    if (!client || !uri) {
        void vscode.window.showErrorMessage('Reveille: no source is open whose sheet could be shown.');
        return;
    }
    const textDocument = { uri: client.code2ProtocolConverter.asUri(uri) };
    const told = await client.sendRequest<{ text: string } | null>('reveille/sheet', { textDocument, format: 'html' });
    if (!told) {
        void vscode.window.showErrorMessage('Reveille: this file is no part of a program that was read.');
        return;
    }
    const panel = vscode.window.createWebviewPanel('reveille.sheet', 'Bring-up sheet', vscode.ViewColumn.Beside, {
        enableScripts: false,
        enableFindWidget: true,
    });
    panel.webview.html = told.text;
}

function enqueue(...steps: (() => Promise<void>)[]): Promise<void> {
    for (const step of steps) {
        queue = queue.then(step);
    }
    return queue;
}

export async function activate(context: vscode.ExtensionContext): Promise<void> {
    output = vscode.window.createOutputChannel('Reveille', { log: true });
    dialect = vscode.languages.createLanguageStatusItem('reveille.dialect', { language: LANGUAGE });
    dialect.name = 'Dialect';
    context.subscriptions.push(
        output,
        dialect,
        vscode.window.onDidChangeActiveTextEditor(() => void showDialect()),
        vscode.workspace.onDidSaveTextDocument(() => void showDialect()),
        vscode.commands.registerCommand('reveille.restart', () => enqueue(stop, start)),
        vscode.commands.registerCommand('reveille.rehearse', rehearse),
        vscode.commands.registerCommand('reveille.sheet', sheet),
        vscode.workspace.onDidChangeConfiguration((event) => {
            if (event.affectsConfiguration('reveille.server')) {
                void enqueue(stop, start);
            } else if (event.affectsConfiguration('reveille')) {
                void client?.sendNotification('workspace/didChangeConfiguration', { settings: options() });
            }
        }),
    );
    await enqueue(start);
}

export function deactivate(): Promise<void> {
    return enqueue(stop);
}
